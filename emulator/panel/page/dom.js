// Small helpers to make and find elements. Text goes in as text, never as markup.
export const $ = (id) => document.getElementById(id);

/// el("button", {class: "x", "aria-pressed": "false", onclick: f, disabled: true}, "text", child, ...)
export function el(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "class") element.className = value;
    else if (typeof value === "boolean") element.toggleAttribute(name, value);
    else if (value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/// Sets a text only where it differs, so that nothing is read out or laid out again for nothing.
export function text(element, words) {
  if (element.textContent !== words) element.textContent = words;
}

/// A style sheet's custom property, as it holds now (dark or light).
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/// Kept by the browser from one visit to the next, where it allows it.
export function kept(name, fallback) {
  try {
    return JSON.parse(localStorage.getItem(`stillrotor.${name}`)) ?? fallback;
  } catch { return fallback; }
}
export function keep(name, value) {
  try {
    localStorage.setItem(`stillrotor.${name}`, JSON.stringify(value));
  } catch { /* private windows have no room; nothing is lost but a preference */ }
}

/// Calls f at most once a picture; the last arguments win.
export function oncePerFrame(f) {
  let waiting = null;
  return (...given) => {
    if (waiting === null) requestAnimationFrame(() => { const now = waiting; waiting = null; f(...now); });
    waiting = given;
  };
}
