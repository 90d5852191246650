// The few things done to the document. Text is only ever set as text, never as markup.

/** Make an element: h("button", {type: "button", "data-action": "x", onclick: f}, "Text"). */
export function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

const SVG = "http://www.w3.org/2000/svg";

/** A shape from the page's sprite. */
export function shape(id, name = "") {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("aria-hidden", "true");
  if (name) svg.setAttribute("class", name);
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", `#${id}`);
  svg.append(use);
  return svg;
}

/** Change a text only when it differs: an untouched node costs no layout. */
export function setText(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export function setAttribute(element, name, value) {
  if (value === null) {
    if (element.hasAttribute(name)) element.removeAttribute(name);
  } else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

export function show(element, visible) {
  if (element.hidden === visible) element.hidden = !visible;
}

/** Make a list hold exactly these texts. */
export function setLines(list, lines, tag = "li") {
  while (list.children.length > lines.length) list.lastElementChild.remove();
  lines.forEach((line, i) => {
    const row = list.children[i] ?? list.appendChild(document.createElement(tag));
    setText(row, line);
  });
}

/**
 * Keep one element per item, by key, in the order of the items.
 * make(item) gives an object with .element and .update(item).
 */
export function keyed(parent, held, items, key, make) {
  const wanted = new Set(items.map(key));
  for (const [k, row] of held) {
    if (wanted.has(k)) continue;
    row.element.remove();
    row.close?.();
    held.delete(k);
  }
  items.forEach((item, i) => {
    const k = key(item);
    let row = held.get(k);
    if (!row) held.set(k, (row = make(item)));
    if (parent.children[i] !== row.element) parent.insertBefore(row.element, parent.children[i] ?? null);
    row.update(item);
  });
}
