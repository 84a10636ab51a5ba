/* What a clearance says while it is typed. The server judges what is sent (`judge` in jobs/calc); both are
   held to tests/shared_cases/verdicts.json.

   Lengths are whole steps of 0.00001 mm, as the server stores them: so 0.1 + 0.02 is 0.12, and a limit met exactly is met. */

import { formatNumber } from "./numbers.js";

const STEPS_PER_MM = 100000;
export const MM_PER = { mm: 1, in: 25.4, thou: 0.0254 };
const SPELLINGS = { millimeter: "mm", millimetre: "mm", inch: "in", inches: "in", '"': "in", "″": "in", zoll: "in", mil: "thou", mils: "thou", thousandths: "thou" };
const AS_TYPED = /^([\d.,]+)(?:\s*[-–/]\s*([\d.,]+))?\s*([^\d\s.,/–-].*)?$/;
const NUMBER = /^(\d+[.,]?\d*|[.,]\d+)$/;

export const WORDS = {
  tight: "tight", loose: "loose", "off-target": "in range, off target", "on-target": "on target",
  "in-range": "in range", "cannot-tell": "not certain", unreadable: "not a number",
};

const MISMATCH = "than predicted. Check for a wrong shim, a shim not seated or the wrong valve.";
const DECIMALS = { mm: 2, in: 3 };

function stepsOf(text, unit) {
  return NUMBER.test(text) ? Math.round(Number(text.replace(",", ".")) * MM_PER[unit] * STEPS_PER_MM) : NaN;
}

/* One value, or the largest blade that goes and the smallest that does not (0.10-0.12); nothing of an empty box, NaN of
   what cannot be read. A unit behind the value goes before the one chosen. */
export function readClearance(text, unit) {
  if (text.trim() === "") return [];
  const [, first, second, named = unit] = AS_TYPED.exec(text.trim()) ?? [];
  const spelled = named.trim().toLowerCase();
  const known = SPELLINGS[spelled] ?? spelled;
  if (first === undefined || !Object.hasOwn(MM_PER, known)) return [NaN];
  return [first, second].filter((each) => each !== undefined).map((each) => stepsOf(each, known));
}

/* True while too few decimals stand for a verdict: two in mm, three in inches. */
export function isHalfTyped(text, unit) {
  const [, first, second, named = unit] = AS_TYPED.exec(text.trim()) ?? [];
  if (text.trim() === "") return false;
  const last = second ?? first ?? "", known = SPELLINGS[named.trim().toLowerCase()] ?? named.trim().toLowerCase();
  return /[-–/]\s*$/.test(text) || (known in DECIMALS && (last.split(/[.,]/)[1] ?? "").length < DECIMALS[known]);
}

/* "0.03 mm looser than predicted: ..." if a clearance as left cannot be what the shim plan predicted, or "". A bracket
   counts from its nearer end. */
export function describeMismatch(ends, { predicted, within }, unit) {
  if (!ends.length || !isReadable(ends) || !predicted) return "";
  const expected = stepsOf(predicted, "mm");
  const difference = Math.min(Math.max(expected, ends[0]), ends.at(-1)) - expected;
  if (Math.abs(difference) <= stepsOf(within, "mm")) return "";
  return `${formatSteps(Math.abs(difference), unit)} ${difference > 0 ? "looser" : "tighter"} ${MISMATCH}`;
}

/* As the server writes lengths: mm in hundredths or as fine as needed, inches with four decimals. */
export function formatSteps(steps, unit) {
  const length = steps / STEPS_PER_MM / MM_PER[unit];
  const places = unit === "in" ? 4 : [2, 3, 4].find((digits) => Number(length.toFixed(digits)) === Number(length.toFixed(4)));
  return `${formatNumber(length, places)} ${unit}`;
}

/* Limits in mm as the page has them; null where the engine spec has none. */
export function readLimits({ low, high, target, tolerance }) {
  const read = (text) => (text ? stepsOf(text, "mm") : null);
  return { low: read(low), high: read(high), target: read(target), tolerance: read(tolerance) };
}

const isBracket = (ends) => ends.length === 2;
const isReadable = (ends) => ends.length <= 2 && !ends.some(Number.isNaN) && !(isBracket(ends) && ends[1] <= ends[0]);

/* A closing clearance from the opener's gap with the closing rocker relaxed, and with its play taken up. */
export function closingFromGaps(unloaded, loaded) {
  if (!isReadable(loaded)) return [NaN];
  if (!loaded.length || !unloaded.length || !isReadable(unloaded)) return [];
  const least = loaded[0] - unloaded.at(-1), most = loaded.at(-1) - unloaded[0];
  return least === most ? [least] : [least, most];
}

/* One value, or both blades: goes <= clearance < stops, so that only a bracket wholly on one side is certain. */
export function judge(ends, { low, high, target, tolerance }) {
  if (!ends.length) return "";
  if (!isReadable(ends)) return "unreadable";
  if (low === null || high === null) return "";
  const least = ends[0], most = ends.at(-1);
  if (most < low || (isBracket(ends) && most === low)) return "tight";
  if (least > high) return "loose";
  if (least < low || most > high) return "cannot-tell";
  if (target === null) return "in-range";
  return Math.abs((least + most) / 2 - target) <= tolerance ? "on-target" : "off-target";
}

/* "lower" or "upper" for a value exactly at that limit, which is still in range. */
export function limitMet(ends, { low, high }) {
  if (ends.length !== 1 || low === null || high === null) return "";
  if (ends[0] === low) return "lower";
  return ends[0] === high ? "upper" : "";
}

/* The word of a verdict; a value exactly at a limit says so. */
export function wordOf(ends, limits) {
  const verdict = judge(ends, limits), met = limitMet(ends, limits);
  if (!met) return WORDS[verdict] ?? "";
  return `${verdict === "on-target" ? "on target" : "in range"}, at ${met} limit`;
}

/* How far a clearance is from its range or target: "0.03 mm below the lower limit". A bracket is counted from its nearer
   end outside the range, from its middle inside. */
export function describeDistance(ends, limits, unit) {
  const verdict = judge(ends, limits), least = isBracket(ends) ? "at least " : "", atMost = isBracket(ends) ? "about " : "";
  const { low, high, target } = limits, length = (steps) => formatSteps(steps, unit);
  if (verdict === "tight") return ends.at(-1) === low ? "just below the lower limit" : `${least}${length(low - ends.at(-1))} below the lower limit`;
  if (verdict === "loose") return `${least}${length(ends[0] - high)} above the upper limit`;
  if (verdict === "cannot-tell") return "The blades are on both sides of a limit. Use finer blades.";
  if (limitMet(ends, limits)) return `exactly at the ${limitMet(ends, limits)} limit, still in range`;
  if (target === null || !["on-target", "off-target"].includes(verdict)) return "";
  const off = (ends[0] + ends.at(-1)) / 2 - target;
  return off === 0 ? "exactly on target" : `${atMost}${length(Math.abs(off))} ${off > 0 ? "looser" : "tighter"} than the target`;
}
