// Customers offered as a name or number is typed.
//
//   <input name="caller" data-lookup="/api/v1/customers" data-fills="contact">
//
// An editable combobox with a list (WAI-ARIA Authoring Practices): arrow keys choose, Enter takes, Escape closes. The name
// that is taken is written into the field, how to reach them into the field `data-fills` names. Without JavaScript the field
// is a line of text.

const QUIET_MS = 120; // after the last key before it is asked
let count = 0;

for (const input of document.querySelectorAll("input[data-lookup]")) attend(input);

function attend(input) {
  const list = document.createElement("ul");
  list.className = "offers";
  list.id = `offers-${++count}`;
  list.setAttribute("role", "listbox");
  list.setAttribute("aria-label", "Customers");
  list.hidden = true;
  input.after(list);
  input.setAttribute("role", "combobox");
  input.setAttribute("aria-autocomplete", "list");
  input.setAttribute("aria-expanded", "false");
  input.setAttribute("aria-controls", list.id);
  const state = { input, list, offers: [], at: -1, timer: 0, asking: null };
  input.addEventListener("input", (event) => {
    if (!event.isTrusted && event.detail === "taken") return;
    clearTimeout(state.timer);
    state.timer = setTimeout(() => ask(state), QUIET_MS);
  });
  input.addEventListener("keydown", (event) => key(state, event));
  input.addEventListener("blur", () => close(state));
  // The press of a mouse or finger would take the keyboard out of the field before the choice is made.
  list.addEventListener("pointerdown", (event) => event.preventDefault());
  list.addEventListener("click", (event) => {
    const option = event.target.closest("[role=option]");
    if (option) take(state, [...list.children].indexOf(option));
  });
}

async function ask(state) {
  state.asking?.abort();
  const typed = state.input.value.trim();
  if (typed.length < 2) return close(state);
  state.asking = new AbortController();
  try {
    const url = `${state.input.dataset.lookup}?q=${encodeURIComponent(typed)}`;
    const response = await fetch(url, { signal: state.asking.signal, credentials: "same-origin", headers: { Accept: "application/json" } });
    if (!response.ok) return close(state);
    show(state, (await response.json()).customers);
  } catch (error) {
    if (error.name !== "AbortError") close(state); // what was typed is a name as it is
  }
}

function show(state, offers) {
  const typed = state.input.value.trim().toLowerCase();
  const only = offers.length === 1 && offers[0].name.toLowerCase() === typed;
  if (offers.length === 0 || only || document.activeElement !== state.input) return close(state);
  state.offers = offers;
  state.at = -1;
  state.list.replaceChildren(...offers.map((offer, index) => option(state, offer, index)));
  state.list.hidden = false;
  state.input.setAttribute("aria-expanded", "true");
  state.input.removeAttribute("aria-activedescendant");
}

function option(state, offer, index) {
  const item = document.createElement("li");
  item.id = `${state.list.id}-${index}`;
  item.setAttribute("role", "option");
  item.setAttribute("aria-selected", "false");
  const name = document.createElement("strong");
  name.textContent = offer.name;
  const more = document.createElement("span");
  more.textContent = [offer.contact, offer.phone || offer.email].filter(Boolean).join(", ");
  item.append(name, " ", more);
  return item;
}

function key(state, event) {
  if (state.list.hidden) {
    if (event.key === "ArrowDown" && state.input.value.trim()) ask(state);
    return;
  }
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    event.preventDefault();
    const step = event.key === "ArrowDown" ? 1 : -1;
    const places = state.offers.length + 1; // the last is the field itself
    move(state, ((state.at + 1 + step + places) % places) - 1);
  } else if (event.key === "Enter" && state.at >= 0 && !event.ctrlKey) {
    event.preventDefault();
    take(state, state.at);
  } else if (event.key === "Escape") {
    event.preventDefault();
    close(state);
  }
}

function move(state, at) {
  state.at = at;
  for (const [index, item] of [...state.list.children].entries()) {
    item.setAttribute("aria-selected", String(index === at));
    if (index === at) item.scrollIntoView({ block: "nearest" });
  }
  if (at < 0) state.input.removeAttribute("aria-activedescendant");
  else state.input.setAttribute("aria-activedescendant", state.list.children[at].id);
}

function take(state, at) {
  const offer = state.offers[at];
  const { input } = state;
  close(state);
  input.value = offer.name;
  const fills = input.dataset.fills && input.form?.elements[input.dataset.fills];
  if (fills && !fills.value) fills.value = offer.phone || offer.email;
  input.dispatchEvent(new CustomEvent("input", { bubbles: true, detail: "taken" }));
}

function close(state) {
  clearTimeout(state.timer);
  state.asking?.abort();
  state.list.hidden = true;
  state.offers = [];
  state.at = -1;
  state.input.setAttribute("aria-expanded", "false");
  state.input.removeAttribute("aria-activedescendant");
}
