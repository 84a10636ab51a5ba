/* Numbers as people read them. The server writes them alike (jobs/calc); both are held to
   tests/shared_cases/numbers.json. */

const THIN_SPACE = "\u202f", MINUS = "\u2212", NO_VALUE = "–";
const formats = new Map(); // a format is slow to make and a table asks for one in each cell

function formatOf(digits, signed) {
  const key = `${digits} ${signed}`;
  if (!formats.has(key)) {
    formats.set(key, new Intl.NumberFormat("en", {
      minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: "min2", signDisplay: signed ? "exceptZero" : "negative",
    }));
  }
  return formats.get(key);
}

/* With so many decimals, a half rounded away from zero; "–" for null, undefined and NaN. From five digits on a thin space
   parts the thousands, so that no mark of thousands can be taken for one of decimals. Zero has no sign. */
export function formatNumber(value, digits = 0, { signed = false } = {}) {
  if (!Number.isFinite(value)) return NO_VALUE;
  return formatOf(digits, signed).format(value).replaceAll(",", THIN_SPACE).replace("-", MINUS);
}
