// Elements of the page: found, made, drawn.

const SVG = "http://www.w3.org/2000/svg";

/**
 * An element of the page.
 * @param {string} name
 * @param {Record<string, string | number | boolean>} attributes properties where the element has them
 * @param {(Node | string)[]} within
 */
function made(name, attributes, ...within) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key in element) Object.assign(element, { [key]: value });
    else element.setAttribute(key, String(value));
  }
  element.append(...within);
  return element;
}

/**
 * An element of a drawing.
 * @param {string} name
 * @param {Record<string, string | number>} attributes
 * @param {string} [words]
 */
function drawn(name, attributes, words) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  if (words !== undefined) element.textContent = words;
  return element;
}

/**
 * The only element of a class inside another.
 * @template {Element} [E=HTMLElement]
 * @param {Element} root
 * @param {string} selector
 * @returns {E}
 */
function inside(root, selector) {
  const found = root.querySelector(selector);
  if (!found) throw new Error(`viewer.html has no ${selector}`);
  return /** @type {E} */ (/** @type {unknown} */ (found));
}
