// Building and changing the page. Text goes in as text: nothing that the daemon says is ever read as HTML.

/** el("p.note", {title: "x"}, "text", child, ...): an element. `on...` attributes are listeners. */
export function el(spec, attributes = {}, ...children) {
  const [tag, ...classes] = spec.split(".");
  const element = document.createElement(tag);
  if (classes.length) element.className = classes.join(" ");
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/** Changes the text only when it is another one: a live region that is rewritten would be read aloud again. */
export function set_text(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

export function set_class(element, name, is_on) {
  element.classList.toggle(name, Boolean(is_on));
}

export function set_attribute(element, name, value) {
  if (value === null || value === false || value === undefined) element.removeAttribute(name);
  else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

export function show(element, is_shown) {
  if (element.hidden === is_shown) element.hidden = !is_shown;
}

/**
 * Keeps the children of a container in step with a list, and keeps the element of an item that stays, so that focus and
 * selection survive. `make(item)` returns {node, update(item)}.
 */
export function keep_list(container, items, key_of, make) {
  const kept = container.kept_items ?? new Map();
  const keys = new Set(items.map(key_of));
  for (const [key, entry] of kept) {
    if (keys.has(key)) continue;
    entry.node.remove();
    kept.delete(key);
  }
  let place = container.firstChild;
  for (const item of items) {
    const key = key_of(item);
    if (!kept.has(key)) kept.set(key, make(item));
    const entry = kept.get(key);
    entry.update(item);
    if (entry.node === place) place = place.nextSibling;
    else container.insertBefore(entry.node, place);
  }
  container.kept_items = kept;
}
