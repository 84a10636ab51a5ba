/* Elements made in one call, with their attributes and what stands in them. */

const SVG = "http://www.w3.org/2000/svg";

function fill(made, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

export const element = (tag, attributes = {}, ...children) => fill(document.createElement(tag), attributes, children);
export const svgElement = (tag, attributes = {}, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);
