// Making and filling elements of a page.

/**
 * An element with attributes and children.
 * Attributes that begin with "on" are listeners; false and null leave an attribute out;
 * "data" is an object of data- attributes.
 */
export function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "data") Object.assign(made.dataset, value);
    else if (name === "value") made.value = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...present(children));
  return made;
}

const SVG = "http://www.w3.org/2000/svg";

/** An icon of icons.svg; it says nothing to a reader, the words beside it do. */
export function icon(name) {
  const made = document.createElementNS(SVG, "svg"), use = document.createElementNS(SVG, "use");
  made.setAttribute("class", "icon");
  made.setAttribute("aria-hidden", "true");
  use.setAttribute("href", `/pages/icons.svg#${name}`);
  made.append(use);
  return made;
}

/** Put children into an element in place of what is there. */
export function fill(parent, ...children) {
  parent.replaceChildren(...present(children));
  return parent;
}

/**
 * Put children in place, but only when what they are made from has changed, so that a page that
 * looks again every few seconds leaves focus and open menus alone.
 */
export function refill(parent, facts, make) {
  const key = JSON.stringify(facts);
  if (parent.madeFrom === key) return;
  const focused = parent.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  parent.madeFrom = key;
  fill(parent, make());
  if (focused) parent.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus();
}

const present = (children) =>
  children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false);
