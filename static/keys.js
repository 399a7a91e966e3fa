// Keys for everything that carries one.
//
//   <a href="/shop/people/new" data-key="n" data-key-label="Add a person">
//
// `data-key` is a letter, a pair with a space between ("g e": one after the other) or "ctrl+enter". A link or button is
// pressed, a field gets the keyboard. Letters are left alone while something is being typed, and can be turned off
// (WCAG 2.1, success criterion 2.1.4). `?` lists the keys of the page. Ctrl+Enter sends the form the keyboard is in.

const PAIR_MS = 1200;
const OFF = "borewright.letter-keys-off";
let first = "";
let firstAt = 0;

const opener = document.getElementById("keys-open");
if (opener) {
  opener.hidden = false;
  opener.addEventListener("click", show);
}

document.addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.altKey || event.metaKey) return;
  if (event.ctrlKey) {
    if (event.key === "Enter") sendForm(event);
    return;
  }
  if (typing(event.target) || document.querySelector("dialog[open]")) return;
  if (event.key === "?") return take(event, show);
  if (localStorage.getItem(OFF) || event.key.length !== 1) return;
  const now = performance.now();
  const pair = now - firstAt < PAIR_MS ? `${first} ${event.key}` : "";
  const target = (pair && find(pair)) || find(event.key);
  first = event.key;
  firstAt = now;
  if (target) take(event, () => press(target));
});

function take(event, act) {
  event.preventDefault();
  first = "";
  act();
}

function sendForm(event) {
  const target = document.querySelector('[data-key="ctrl+enter"]');
  const form = event.target.closest?.("form");
  if (target) take(event, () => press(target));
  else if (form) take(event, () => form.requestSubmit());
}

function typing(element) {
  if (element.isContentEditable || element instanceof HTMLTextAreaElement || element instanceof HTMLSelectElement) return true;
  return element instanceof HTMLInputElement && !["checkbox", "radio", "button", "submit"].includes(element.type);
}

function find(key) {
  return [...document.querySelectorAll("[data-key]")].find((element) => element.dataset.key === key && element.getClientRects().length > 0);
}

function press(element) {
  element.focus();
  if (element.matches("a, button, summary")) element.click();
}

function label(element) {
  return element.dataset.keyLabel || element.labels?.[0]?.textContent || element.textContent.trim();
}

function show() {
  const dialog = document.createElement("dialog");
  dialog.className = "keys";
  dialog.setAttribute("aria-labelledby", "keys-title");
  const heading = make("h2", "Keys");
  heading.id = "keys-title";
  const list = document.createElement("dl");
  const seen = new Set();
  for (const element of document.querySelectorAll("[data-key]")) {
    if (seen.has(element.dataset.key)) continue;
    seen.add(element.dataset.key);
    row(list, element.dataset.key, label(element));
  }
  row(list, "ctrl+enter", "Send the form you are in");
  row(list, "?", "This list");
  const toggle = document.createElement("input");
  toggle.type = "checkbox";
  toggle.id = "keys-on";
  toggle.checked = !localStorage.getItem(OFF);
  toggle.addEventListener("change", () => (toggle.checked ? localStorage.removeItem(OFF) : localStorage.setItem(OFF, "1")));
  const pick = make("label", "");
  pick.className = "pick";
  pick.append(toggle, make("span", "Single letters are keys"));
  const close = make("button", "Close");
  close.type = "button";
  close.addEventListener("click", () => dialog.close());
  dialog.append(heading, list, pick, close);
  const before = document.activeElement;
  dialog.addEventListener("close", () => {
    dialog.remove();
    before?.focus?.();
  });
  document.body.append(dialog);
  dialog.showModal();
  close.focus();
}

function row(list, key, words) {
  const term = document.createElement("dt");
  for (const [index, part] of key.split(/[ +]/).entries()) {
    if (index > 0) term.append(key.includes("+") ? " + " : " then ");
    term.append(make("kbd", part));
  }
  list.append(term, make("dd", words));
}

function make(name, text) {
  const element = document.createElement(name);
  element.textContent = text;
  return element;
}
