/* Finds elements of a known class. Each helper checks the class at run time, so that the types in
   the scripts hold for the page as it is. */

/** @typedef {{ new (): Element }} ElementClass */
/**
 * What can stand for a part of the page: both have a dataset and take the focus.
 * @typedef {HTMLElement | SVGElement} Part
 */

/**
 * Return the element with this id. Throw if it is missing or of no such class.
 * @template {ElementClass[]} C
 * @param {string} id
 * @param {C} classes
 */
export function byId(id, ...classes) {
  return checked(document.getElementById(id), `#${id}`, classes);
}

/**
 * Return the first element within `root` that matches. Throw if it is missing or of no such class.
 * @template {ElementClass[]} C
 * @param {ParentNode} root
 * @param {string} selector
 * @param {C} classes
 */
export function query(root, selector, ...classes) {
  return checked(root.querySelector(selector), selector, classes);
}

/**
 * Return the first element within `root` that matches, or null. Throw if it is of no such class.
 * @template {ElementClass[]} C
 * @param {ParentNode} root
 * @param {string} selector
 * @param {C} classes
 */
export function find(root, selector, ...classes) {
  const found = root.querySelector(selector);
  return found && checked(found, selector, classes);
}

/**
 * Return all elements within `root` that match. Throw if one is of no such class.
 * @template {ElementClass[]} C
 * @param {ParentNode} root
 * @param {string} selector
 * @param {C} classes
 */
export function queryAll(root, selector, ...classes) {
  return Array.from(root.querySelectorAll(selector), (each) => checked(each, selector, classes));
}

/**
 * Return the nearest element that matches, from an event's target outward, or null if there is none.
 * Throw if it is of no such class.
 * @template {ElementClass[]} C
 * @param {EventTarget | null} target
 * @param {string} selector
 * @param {C} classes
 */
export function closest(target, selector, ...classes) {
  const found = target instanceof Element ? target.closest(selector) : null;
  return found && checked(found, selector, classes);
}

/**
 * @template {ElementClass[]} C
 * @param {Element | null} element
 * @param {string} name
 * @param {C} classes
 */
function checked(element, name, classes) {
  if (!classes.some((each) => element instanceof each)) {
    throw new TypeError(`The page has no ${name} that is ${classes.map((each) => each.name).join(" or ")}.`);
  }
  return /** @type {InstanceType<C[number]>} */ (element);
}
