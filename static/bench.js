// The bench: every press is an entry with a key and a time of its own, kept on this device until the shop has booked it.
//
// An entry is written to IndexedDB first, shown as not sent, and sent in order. It leaves the device only when a page has
// come that knows of it, so what is on screen is always the page as it was last seen plus the entries made since. Without
// this script the same forms are sent one by one.

const RETRY_MS = 5000;
const UNDO_MS = 60_000;
const bench = document.getElementById("bench");

if (bench) start();
tables();
keypad();
keepForLater();
needNetwork();

async function start() {
  const store = await open();
  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-book]");
    if (!form) return;
    event.preventDefault();
    press(store, form, event.submitter);
  });
  undoable();
  const trouble = document.querySelector("#bench-trouble button");
  trouble.addEventListener("click", async () => {
    await each(store, (entry) => (entry.say ? { ...entry, say: null } : entry));
    await render(store);
  });
  // What a page from after their booking has come for is done with, unless there is something to say about it.
  const asOf = Number(bench.dataset.asOf);
  await each(store, (entry) => (entry.booked && entry.booked <= asOf && !entry.say ? null : entry));
  await render(store);
  await send(store);
  window.addEventListener("online", () => send(store));
  setInterval(() => send(store), RETRY_MS);
}

// What was booked can be taken back for a minute; the shop says until when.
function undoable() {
  const section = document.getElementById("bench-undo");
  if (section) setTimeout(() => (section.hidden = true), Math.max(0, Number(section.dataset.until) - Date.now()));
}

// What was not sent yet never needs to be: the press goes, with all that it ended elsewhere.
function takeBack(store, entry) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  button.textContent = "Undo";
  button.addEventListener("click", async () => {
    await each(store, (other) => (other.at === entry.at && !other.booked ? null : other));
    location.reload();
  });
  return button;
}

// A press of a button: what else it ends, then the entry itself.
async function press(store, form, button) {
  const data = Object.fromEntries(new FormData(form, button));
  const at = moment(form, data);
  if (!at || !reads(form)) return;
  const entries = [];
  if (["setup", "run", "run_alone"].includes(data.kind)) {
    const key = card(data.operation)?.dataset.setupKey;
    for (const other of document.querySelectorAll(".bench-card[data-attended]")) {
      // Jobs in one setup share its time; anything else is paused.
      if (other.dataset.op !== data.operation && other.dataset.setupKey !== key) entries.push({ ...data, kind: "pause", operation: other.dataset.op });
    }
  }
  entries.push(data);
  for (const entry of entries) {
    await write(store, {
      key: random(),
      sign_on: bench.dataset.signOn,
      kind: entry.kind,
      operation: entry.operation,
      machine: entry.machine || null,
      corrects: entry === data ? entry.corrects || null : null,
      reason: entry === data ? entry.reason || null : null,
      at,
      title: title(entry.operation),
      ...(entry.kind === "check" && { place: Number(entry.place), measured: entry.measured, readings: readings(form), goes: entry.goes, passed: passes(form, entry) }),
    });
  }
  if (data.kind === "check") form.reset();
  document.activeElement?.blur();
  form.closest("[data-question]")?.setAttribute("hidden", "");
  await render(store);
  await send(store);
}

// When it happened: now, or the time a form names.
function moment(form, data) {
  if (!("at" in data)) return new Date().toISOString();
  const named = form.elements.at.dataset.at ?? data.at;
  const at = new Date(named);
  if (Number.isNaN(at.getTime())) {
    form.elements.at.focus();
    return null;
  }
  return at.toISOString();
}

const number = (text) => Number(text.trim().replace(",", "."));

const fields = (form) => [...form.querySelectorAll("input[name=measured], input[name^=reading_]")];
const isNumber = (text) => /^\s*-?\d{1,6}([.,]\d{1,6})?\s*$/.test(text);

// The readings of a check that takes several; none for any other.
function readings(form) {
  const typed = fields(form).filter((field) => field.name !== "measured");
  return typed.length ? typed.map((field) => field.value) : undefined;
}

// A reading that is no number is said at once, beside where it was typed.
function reads(form) {
  for (const field of fields(form)) {
    field.setCustomValidity(isNumber(field.value) ? "" : "Enter a number in the unit of the limits, for example 40.012");
    field.addEventListener("input", () => field.setCustomValidity(""), { once: true });
  }
  return form.reportValidity();
}

// Within limits, both of them included, as the shop judges it too.
function isWithin(form, text) {
  const { lower, upper } = form.dataset;
  return !(lower && number(text) < Number(lower)) && !(upper && number(text) > Number(upper));
}

// Of several readings a single bad one fails the check.
function passes(form, { goes }) {
  const typed = fields(form);
  return typed.length ? typed.every((field) => isWithin(form, field.value)) : goes === "yes";
}

// The verdict of each reading of a table as it is typed, and the keys under it.
function tables() {
  for (const form of document.querySelectorAll("form[data-book=check]:has(.bench-readings)")) {
    const pad = form.querySelector(".bench-pad");
    let at = fields(form)[0];
    pad.hidden = false;
    form.addEventListener("focusin", (event) => (at = fields(form).includes(event.target) ? event.target : at));
    form.addEventListener("input", (event) => verdict(form, event.target));
    form.addEventListener("reset", () => {
      for (const output of form.querySelectorAll("output")) output.textContent = "";
    });
    pad.addEventListener("click", (event) => {
      const key = event.target.closest("[data-key]")?.dataset.key;
      if (!key) return;
      if (key === "next") at = fields(form)[(fields(form).indexOf(at) + 1) % fields(form).length];
      else if (key === "back") at.value = at.value.slice(0, -1);
      else at.value = key === "-" ? (at.value.startsWith("-") ? at.value.slice(1) : `-${at.value}`) : at.value + key;
      at.focus();
      at.dispatchEvent(new Event("input", { bubbles: true }));
    });
  }
}

function verdict(form, field) {
  const output = field.closest("tr")?.querySelector("output");
  if (!output) return;
  const good = isWithin(form, field.value);
  output.textContent = !isNumber(field.value) ? "" : good ? "✓ within" : "✗ out";
}

const card = (operation) => document.querySelector(`.bench-card[data-op="${operation}"]`);

function title(operation) {
  const heading = card(operation)?.querySelector("h3") ?? document.querySelector(`[data-question] strong`);
  return heading?.textContent.trim() ?? "";
}

// Sends what was not booked yet, oldest first, and only one message at a time.
let sending = false;
async function send(store) {
  if (sending) return;
  sending = true;
  try {
    const waiting = (await all(store)).filter((entry) => !entry.booked);
    if (waiting.length === 0) {
      say("");
      return;
    }
    const entries = waiting.slice(0, 100).map(({ id, title, booked, say, aside, passed, ...entry }) => entry);
    let response;
    try {
      response = await fetch("/bench/entries", {
        method: "POST",
        headers: { "content-type": "application/json", accept: "application/json" },
        body: JSON.stringify({ sent_at: new Date().toISOString(), entries }),
      });
    } catch {
      say("No network. What you enter is kept on this device and sent when it is back.");
      return;
    }
    if (!response.ok) {
      say(
        response.status === 401
          ? "This device is no longer known to the shop. What you entered is kept here; tell the owner."
          : "The shop’s computer does not answer as it should. What you entered is kept on this device and sent again.",
      );
      return;
    }
    const { as_of, outcomes } = await response.json();
    await Promise.all(
      outcomes.map((outcome, i) => write(store, { ...waiting[i], booked: as_of, say: ["booked", "failed"].includes(outcome.outcome) ? null : (outcome.say ?? outcome.outcome), aside: outcome.outcome === "set_aside" })),
    );
    say("");
    await render(store);
    // The page as the shop knows it now; when it does not come, what is on screen is still right.
    if (waiting.length > 100) setTimeout(() => send(store), 0);
    else if (!document.activeElement?.matches("input:not([type=hidden])")) location.reload();
  } finally {
    sending = false;
  }
}

function say(words) {
  const state = document.getElementById("bench-state");
  state.hidden = !words;
  if (state.textContent !== words) state.textContent = words;
}

const WORDS = { setup: "Set up", run: "Run", run_alone: "Run unattended", pause: "Pause", done: "Done", stands: "Still working on it", check: "Check" };
const CLOCK = { setup: "setup", run: "run", run_alone: "alone", pause: "none", done: "done" };
const PHASE = { setup: "setting up", run: "running, attended", alone: "running unattended", none: "Not running", done: "Done" };

// Puts the entries that the page does not know of on top of it.
async function render(store) {
  const entries = await all(store);
  const asOf = Number(bench.dataset.asOf);
  for (const entry of entries) {
    const shown = card(entry.operation);
    if (shown && !entry.aside && (!entry.booked || entry.booked > asOf) && CLOCK[entry.kind]) {
      const clock = CLOCK[entry.kind];
      shown.dataset.clock = clock;
      shown.toggleAttribute("data-attended", clock === "setup" || clock === "run");
      const since = clock === "none" || clock === "done" ? "" : ` since ${new Date(entry.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}`;
      shown.querySelector(".bench-running").textContent = PHASE[clock] + since;
    }
    if (shown && entry.kind === "check" && !entry.aside && (!entry.booked || entry.booked > asOf)) {
      const form = [...shown.querySelectorAll("[data-book=check]")].find((form) => Number(form.elements.place.value) === entry.place);
      const found = form?.parentElement.querySelector(".bench-found");
      const measured = entry.readings?.join("; ") ?? entry.measured;
      if (found) found.textContent = `${entry.passed ? "✓" : "✗"} ${measured === undefined ? (entry.passed ? "passed" : "failed") : `${measured}: ${entry.passed ? "within limits" : "out of limits"}`}`;
      if (!entry.passed) shown.setAttribute("data-held", "yes");
    }
    if (entry.corrects && (!entry.booked || entry.booked > asOf)) document.querySelector(`[data-question="${entry.corrects}"]`)?.setAttribute("hidden", "");
  }
  list("bench-queue", entries.filter((entry) => !entry.booked), line, (entry) => (Date.now() - new Date(entry.at) < UNDO_MS ? takeBack(store, entry) : null));
  list("bench-trouble", entries.filter((entry) => entry.say), (entry) => `${line(entry)}: ${entry.say}${entry.aside ? ". Not booked; the office has it" : ". Booked; the office will check it"}.`);
}

function line(entry) {
  const at = new Date(entry.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  return `${at} ${WORDS[entry.kind] ?? entry.kind}, ${entry.title}`;
}

function list(id, entries, words, beside = () => null) {
  const section = document.getElementById(id);
  section.hidden = entries.length === 0;
  section.querySelector("ul").replaceChildren(
    ...entries.map((entry) => {
      const item = document.createElement("li");
      item.textContent = words(entry);
      const button = beside(entry);
      if (button) item.append(" ", button);
      return item;
    }),
  );
}

// A version 4 UUID (RFC 9562); crypto.randomUUID is not there without HTTPS.
function random() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

// The entries on this device, in the order they were made.

function open() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open("bench", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("entries", { keyPath: "id", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function within(store, mode, work) {
  return new Promise((resolve, reject) => {
    const transaction = store.transaction("entries", mode, { durability: "strict" });
    const request = work(transaction.objectStore("entries"));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error);
  });
}

const all = (store) => within(store, "readonly", (entries) => entries.getAll());
const write = (store, entry) => within(store, "readwrite", (entries) => entries.put(entry));

// Changes every entry; one that becomes null leaves the device.
async function each(store, change) {
  for (const entry of await all(store)) {
    const changed = change(entry);
    if (changed === null) await within(store, "readwrite", (entries) => entries.delete(entry.id));
    else if (changed !== entry) await write(store, changed);
  }
}

// Signing on and off are done by the shop's computer: when it cannot be reached that is said, and a press leads nowhere.
function needNetwork() {
  const notice = document.getElementById("bench-offline");
  if (!notice) return;
  const reached = async () => {
    const here = await fetch("/bench/worker.js", { cache: "no-store" }).then(() => true, () => false);
    notice.hidden = here;
    return here;
  };
  window.addEventListener("offline", () => (notice.hidden = false));
  window.addEventListener("online", reached);
  if (!navigator.onLine) notice.hidden = false;
  document.addEventListener("click", async (event) => {
    const link = event.target.closest('a[href^="/bench/sign-on/"]');
    if (!link || event.defaultPrevented) return;
    event.preventDefault();
    if (await reached()) location.assign(link.href);
  });
  for (const form of document.querySelectorAll('form[action^="/bench/sign-"]')) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (await reached()) form.submit();
    });
  }
}

// The PIN's large keys.
function keypad() {
  const keys = document.querySelector(".bench-keypad");
  const pin = document.getElementById("pin");
  if (!keys || !pin) return;
  keys.hidden = false;
  keys.addEventListener("click", (event) => {
    const key = event.target.closest("[data-digit]");
    if (!key) return;
    pin.value = key.dataset.digit === "" ? "" : (pin.value + key.dataset.digit).slice(0, 8);
  });
}

// Has the bench's pages kept for when there is no network; a worker needs HTTPS or this very machine.
async function keepForLater() {
  if (!("serviceWorker" in navigator) || !bench) return;
  await navigator.serviceWorker.register("/bench/worker.js", { scope: "/bench" });
  const { active } = await navigator.serviceWorker.ready;
  const assets = [...document.querySelectorAll("link[href], script[src]")].map((element) => element.href || element.src);
  const machines = [...document.querySelectorAll(".bench-machines a")].map((link) => link.href);
  active.postMessage({ keep: [...new Set([location.href, new URL("/bench", location).href, ...machines, ...assets])] });
}
