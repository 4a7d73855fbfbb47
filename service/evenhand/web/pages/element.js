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

const WRITTEN = "input:not([type=checkbox], [type=radio], [type=range]), textarea, select";

/** Whether somebody is writing, choosing or dragging in a part of the page: it is not drawn anew then. */
export const isInUse = (part) =>
  (part.contains(document.activeElement) && document.activeElement.matches(WRITTEN)) ||
  part.querySelector("input[type=range]:active, input[type=range][data-moved]") !== null;

/**
 * Put children in place, but only when what they are made from has changed, so that a page that
 * looks again every few seconds leaves focus and open menus alone. What is in use stays as it is
 * until it is left; the next look draws it then.
 */
export function refill(parent, facts, make) {
  const key = JSON.stringify(facts);
  if (parent.madeFrom === key || (parent.madeFrom !== undefined && isInUse(parent))) return;
  const focused = focusedIn(parent);
  parent.madeFrom = key;
  fill(parent, make());
  focusAgain(parent, focused);
}

/**
 * Keep one child for each of some things, in their order: a child is made anew only when its own
 * facts have changed, and never while it is in use.
 *
 * @param {{key: string, facts: any, make: () => Element}[]} things
 */
export function arrange(parent, things) {
  const kept = new Map([...parent.children].map((child) => [child.dataset.thing, child]));
  let at = parent.firstElementChild;
  for (const { key, facts, make } of things) {
    const told = JSON.stringify(facts);
    let child = kept.get(key);
    kept.delete(key);
    if (!child || (child.madeFrom !== told && !isInUse(child))) {
      const made = make(), focused = child && focusedIn(child);
      made.dataset.thing = key;
      made.madeFrom = told;
      if (child) {
        if (child === at) at = made;
        child.replaceWith(made);
        focusAgain(made, focused);
      }
      child = made;
    }
    if (child === at) at = at.nextElementSibling;
    else parent.insertBefore(child, at);
  }
  for (const child of kept.values()) if (!isInUse(child)) child.remove();
}

const focusedIn = (part) => (part.contains(document.activeElement) ? document.activeElement.dataset.key : null);

const focusAgain = (part, key) => key && part.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });

const present = (children) =>
  children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false);
