// The few things that every part of the page does to its elements.

export const byId = (id) => document.getElementById(id);

/** A new element with properties and content. */
export function make(tag, properties = {}, ...content) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...content);
  return element;
}

/** A new button. */
export function button(text, className, act) {
  const made = make("button", { type: "button", className }, String(text));
  made.addEventListener("click", act);
  return made;
}

/** Say whether a button that stays down is down. */
export function press(element, on) {
  element.setAttribute("aria-pressed", on);
}

/** Put a text everywhere where it is to be shown. */
export function showAll(name, text) {
  for (const element of document.querySelectorAll(`[data-show=${name}]`)) {
    if (element.textContent !== text) element.textContent = text;
  }
}
