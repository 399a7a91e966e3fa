// On a phone no page is longer than four screens until somebody asks for more.
//
// Where one is, the ends of its longest lists go behind a button that says how many more there are; where that is not
// enough, whole parts below the first go behind a button with their heading, the last first. What is wrong, chosen,
// recommended or asked for by the address stays in sight, and so does what is being filled in. On a wider screen and on
// paper everything is there, as it is without JavaScript. What was opened stays open when the page is fetched anew in parts.
// The tail of a form, .tail, is put away on every phone: what comes of the form stands below it.

const NARROW = matchMedia("screen and (max-width: 44rem)");
const SCREENS = 4;
const KEPT = [1, 0.5, 0.25]; // screens of a list that stay in sight, less and less as long as the page is too long
const LISTS = "main tbody, main ol, main ul, main .options";
const PARTS = "main section, main article, main form fieldset:is(.part, .rows), main table:has(> caption), main [data-fold]";
const HEADING = ":scope > :is(h2, h3, legend, caption), :scope > :is(header, .bar) :is(h2, h3)";
const TAIL = ".tail";
const STAYS = ".error, .recommended, [data-stays], [aria-current], [aria-invalid], [role=alert], [autofocus]";

const opened = new Set(); // names of what somebody opened
const away = new Set(); // names of parts that are put away
let first = true;
const watcher = new MutationObserver(fold);

const tall = (element) => element.getBoundingClientRect().height;
const excess = () => document.documentElement.scrollHeight - SCREENS * window.innerHeight;

// What an element is called from one fetch of the page to the next.
function nameOf(element) {
  const within = element.closest("[id]");
  const alike = [...(within ?? document).querySelectorAll(element.tagName)];
  return `${within?.id ?? ""} ${element.tagName} ${alike.indexOf(element)}`;
}

function stays(element) {
  const asked = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
  if (asked && element.contains(asked)) return true;
  return element.matches(STAYS) || element.querySelector(STAYS) !== null || element.contains(document.activeElement);
}

// Fields of a part of a form that have anything in them.
function filledIn(part) {
  const typed = (field) => !["hidden", "checkbox", "radio"].includes(field.type) && field.value !== "";
  const chosen = [...part.querySelectorAll("select")].filter((field) => part.matches(TAIL) && field.selectedIndex > 0);
  return [...part.querySelectorAll("input, textarea")].filter(typed).length + chosen.length;
}

function fold() {
  watcher.disconnect();
  const main = document.querySelector("main");
  if (!main) return;
  if (NARROW.matches) {
    const inSight = (element) => !element.closest(".folded, details:not([open]), .week-picture");
    for (const share of KEPT) {
      const lists = [...document.querySelectorAll(LISTS)].filter(inSight);
      for (const list of lists.sort((a, b) => tall(b) - tall(a))) foldList(list, share * window.innerHeight);
    }
    const parts = [...document.querySelectorAll(PARTS)].filter(inSight).slice(1);
    for (const part of parts.reverse()) foldPart(part);
    first = false;
  }
  watcher.observe(main, { childList: true, subtree: true });
}

// Puts the end of a list away: as much as the page is too long by, but not what is in the first `keep` pixels.
function foldList(list, keep) {
  const over = excess();
  const name = nameOf(list);
  const items = [...list.children].filter((item) => !item.classList.contains("folded"));
  if (over <= 0 || opened.has(name) || items.length < 4 || tall(list) <= keep || list.closest("form")) return;
  const top = list.getBoundingClientRect().top;
  const end = Math.max(tall(list) - over - 60, keep);
  const last = items.findLastIndex(stays);
  const beyond = items.filter((item, at) => at > last && at > 0 && item.getBoundingClientRect().bottom - top > end);
  if (beyond.length < 2) return;
  for (const item of beyond) item.classList.add("folded");
  const place = list.closest("table") ?? list;
  const before = place.nextElementSibling?.matches(".unfold") ? place.nextElementSibling : null;
  before?.remove();
  const all = list.querySelectorAll(":scope > .folded");
  place.after(button(`Show ${all.length} more`, name, [...all]));
}

// Puts a part away but for its heading. Once the page has been read, only what was away already.
function foldPart(part) {
  const heading = part.querySelector(HEADING);
  const name = nameOf(part);
  const words = heading ? wordsOf(heading) : part.dataset.fold;
  const form = part.closest("form");
  const enough = excess() <= 0 && !part.matches(TAIL);
  if (enough || !words || opened.has(name) || tall(part) < 200 || stays(part) || (form && !part.matches("fieldset"))) return;
  if (!first && !away.has(name)) return;
  away.add(name);
  const top = heading && [...part.children].find((child) => child.contains(heading));
  const below = heading ? [...part.children].filter((child) => child !== top) : [part];
  for (const child of below) child.classList.add("folded");
  const place = part.matches("table") || !top ? part : top;
  const filled = form ? filledIn(part) : 0;
  place.after(button(filled > 0 ? `Show ${words}, ${filled} filled in` : `Show ${words}`, name, below));
}

function wordsOf(heading) {
  const plain = heading.cloneNode(true);
  for (const mark of plain.querySelectorAll("[aria-hidden], .tag, .button")) mark.remove();
  return plain.textContent.trim();
}

function button(words, name, behind) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "unfold quiet";
  button.textContent = words;
  button.addEventListener("click", () => {
    opened.add(name);
    watcher.disconnect();
    button.remove();
    for (const element of behind) element.classList.remove("folded");
    const next = behind[0].querySelector("a, button, summary") ?? behind[0];
    if (next === behind[0]) next.tabIndex = -1;
    next.focus({ preventScroll: true });
    fold();
  });
  return button;
}

// A place that the address asks for later is shown.
addEventListener("hashchange", () => {
  const asked = document.getElementById(location.hash.slice(1))?.closest(".folded");
  if (!asked) return;
  const within = asked.closest("table") ?? asked.parentElement;
  (within.nextElementSibling?.matches(".unfold") ? within.nextElementSibling : within.querySelector(".unfold"))?.click();
  document.getElementById(location.hash.slice(1))?.scrollIntoView();
});

NARROW.addEventListener("change", fold);
fold();
