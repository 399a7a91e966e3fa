// A form that answers while it is filled in.
//
//   <form method="post" action="/enquiries/42" data-live="options total" data-live-url="/enquiries/42/answer">
//
// `data-live` names the ids of the parts of the page to swap. As the form changes it is sent, with `X-Live: 1` and by
// its own method, to `data-live-url` or its action; the parts are taken by id from the HTML that comes back, whether it
// is a whole page or a fragment, and may hold the form itself. An element in the form with the class `live-status` and
// `role="status"` tells how it goes; one is added where there is none. What happens in `data-live-ignore` sends nothing.
// Without JavaScript the form is an ordinary form with a button.
//
// Event: `live:done` on the document after a swap, for other modules.

const QUIET_MS = 250; // after the last change before it is sent
const SLOW_MS = 300; // before progress is shown
const STUCK_MS = 10000; // before a save that has no answer is given up for the next

// What is saved as it is typed is sent one at a time: a request that is given up may still be carried out, and after a later
// one, which it would overwrite. What only asks is given up for the next.

const TWICE_MS = 1000; // within which a button that is pressed again was pressed once
const sent = new WeakMap(); // by form: when it was sent
const states = new Map(); // by form: { timer, running, again, submit }

const key = (form) => `${form.getAttribute("action")} ${form.dataset.live}`;

document.addEventListener("input", (event) => {
  const form = liveForm(event);
  if (form) ask(form, QUIET_MS);
});

// Text has been announced by its input events; a choice is complete at once.
document.addEventListener("change", (event) => {
  const form = liveForm(event);
  if (form && !isTyped(event.target)) ask(form, 0);
});

// Saving goes the ordinary way, after what is on its way; an answer would only arrive on a page that is gone.
document.addEventListener("submit", (event) => {
  const state = states.get(key(event.target));
  clearTimeout(state?.timer);
  if (!state?.running) return;
  if (event.target.method !== "post") return state.running.abort();
  event.preventDefault();
  state.submit = { submitter: event.submitter };
});

// A form is sent with a key, so that what is pressed twice is done once. Whoever comes back to it means another one.
addEventListener("pageshow", (event) => event.persisted && renew());
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && renew());

function renew() {
  for (const field of document.querySelectorAll('input[name="once"]')) field.value = `${Date.now()}`;
}

// What makes a secret that is shown once has no such key: there the second press is not sent.
document.addEventListener("submit", (event) => {
  if (event.defaultPrevented || event.target.method !== "post") return;
  const now = performance.now();
  if (now - (sent.get(event.target) ?? -TWICE_MS) < TWICE_MS) event.preventDefault();
  else sent.set(event.target, now);
});

function liveForm(event) {
  const form = event.target.form;
  return form?.dataset.live && !event.target.closest("[data-live-ignore]") ? form : null;
}

function isTyped(element) {
  return element instanceof HTMLTextAreaElement || (element instanceof HTMLInputElement && !["checkbox", "radio", "date"].includes(element.type));
}

function ask(form, delay) {
  const name = key(form);
  const state = states.get(name) ?? { timer: 0, running: null, again: false, submit: null };
  states.set(name, state);
  clearTimeout(state.timer);
  state.timer = setTimeout(() => {
    const now = formOf(name);
    if (now) send(now, name, state);
  }, delay);
}

// The form as it stands in the page now: a swap may have replaced it.
function formOf(name) {
  return [...document.forms].find((form) => form.dataset.live && key(form) === name);
}

async function send(form, name, state) {
  if (state.running && form.method === "post") {
    const stuck = state.running;
    if (!state.again) setTimeout(() => stuck.abort(), STUCK_MS);
    state.again = true;
    return;
  }
  state.running?.abort();
  const mine = new AbortController();
  state.running = mine;
  const slow = setTimeout(() => {
    tell(name, "Working it out …", false);
    mark(form, true);
  }, SLOW_MS);
  try {
    const fields = new URLSearchParams(new FormData(form));
    const url = new URL(form.dataset.liveUrl || form.action, document.baseURI);
    const options = { headers: { "X-Live": "1", Accept: "text/html" }, signal: mine.signal, credentials: "same-origin" };
    if (form.method === "post") Object.assign(options, { method: "POST", body: fields });
    else url.search = fields;
    const response = await fetch(url, options);
    // 422 is an answer too: it carries the complaints.
    if (!response.ok && response.status !== 422) {
      tell(name, why(response.status), true);
      return;
    }
    const html = new DOMParser().parseFromString(await response.text(), "text/html");
    if (mine.signal.aborted || state.again || state.submit) return;
    const whole = swap(form, html);
    tell(name, whole ? "Up to date" : "Part of the answer is missing. Load the page again.", !whole);
    document.dispatchEvent(new CustomEvent("live:done"));
  } catch (error) {
    if (error.name === "AbortError") return;
    tell(name, "The shop’s computer cannot be reached. What you typed is still here; it is sent again at your next change.", true);
  } finally {
    clearTimeout(slow);
    if (state.running === mine) {
      state.running = null;
      mark(form, false);
      next(name, state);
    }
  }
}

// What was asked for while a save was on its way.
function next(name, state) {
  const { again, submit } = state;
  Object.assign(state, { again: false, submit: null });
  const form = formOf(name);
  if (submit) form?.requestSubmit(submit.submitter);
  else if (again && form) send(form, name, state);
}

const parts = (form) => form.dataset.live.split(/\s+/).filter(Boolean);

function mark(form, busy) {
  for (const id of parts(form)) document.getElementById(id)?.toggleAttribute("data-busy", busy);
}

// Swaps the named parts, keeps what was opened open and gives the keyboard back to where it was, with its caret and
// with what was typed since the form was sent. False when a part did not come.
function swap(form, html) {
  const held = hold(document.activeElement);
  let whole = true;
  for (const id of parts(form)) {
    const now = document.getElementById(id);
    const next = html.getElementById(id);
    if (!now || !next) {
      whole = false;
      continue;
    }
    const open = new Set([...now.querySelectorAll("details[open][id]")].map((details) => details.id));
    const fresh = document.adoptNode(next);
    now.replaceWith(fresh);
    for (const details of fresh.querySelectorAll("details[id]")) if (open.has(details.id)) details.open = true;
  }
  giveBack(held);
  return whole;
}

function hold(element) {
  if (!element?.id) return null;
  const held = { element, id: element.id, value: element.value };
  try {
    held.caret = [element.selectionStart, element.selectionEnd];
  } catch {
    held.caret = null; // a kind of field without a caret
  }
  return held;
}

function giveBack(held) {
  const again = held && document.getElementById(held.id);
  if (!again || again === held.element) return;
  if ("value" in again && !["checkbox", "radio"].includes(again.type)) again.value = held.value;
  again.focus({ preventScroll: true });
  if (held.caret && held.caret[0] !== null && held.caret[0] !== undefined) again.setSelectionRange(...held.caret);
}

function tell(name, words, failed) {
  const form = formOf(name);
  if (!form) return;
  let status = form.querySelector(".live-status");
  if (!status) {
    status = document.createElement("p");
    status.className = "live-status";
    status.setAttribute("role", "status");
    form.append(status);
  }
  status.textContent = words;
  status.classList.toggle("failed", failed);
}

function why(code) {
  if (code === 401 || code === 403) return "You have been signed out. Sign in again in another tab, then load this page again.";
  if (code === 409) return "Someone else changed this meanwhile. Load the page again to see both.";
  if (code === 413) return "That is more than can be sent at once.";
  if (code === 429) return "That was asked too often. It is sent again at your next change.";
  if (code === 503) return "It cannot be saved now. What you typed is still here; it is sent again at your next change.";
  if (code >= 500) return "Something broke on the shop’s computer. What you typed is still here; try again.";
  return `This was refused (${code}). What you typed is still here.`;
}
