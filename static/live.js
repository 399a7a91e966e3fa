// A form that answers while it is filled in.
//
//   <form method="post" action="/enquiries/42" data-live="options total" data-live-url="/enquiries/42/answer">
//
// `data-live` names the ids of the parts of the page to swap. As the form changes it is posted (with `X-Live: 1`) to
// `data-live-url`, or its action; the parts are taken from the HTML that comes back, by id, whether it is a whole page
// or a fragment. An optional `role="status"` element with the class `live-status` inside the form tells how it goes; one
// is added where there is none. Elements with `data-live-ignore` do not set it off. Without JavaScript the form is an
// ordinary form with a button.
//
// Events: `live:done` on the form after a swap, for other modules.

const QUIET_MS = 250; // after the last change before it is sent
const SLOW_MS = 300; // before progress is shown

for (const form of document.querySelectorAll("form[data-live]")) watch(form);

function watch(form) {
  const status = form.querySelector(".live-status") ?? form.appendChild(makeStatus());
  let timer = 0;
  let running = null;

  const ask = (delay) => {
    clearTimeout(timer);
    timer = setTimeout(send, delay);
  };

  async function send() {
    running?.abort();
    const mine = (running = new AbortController());
    const slow = setTimeout(() => {
      status.textContent = "Working it out …";
      mark(form, true);
    }, SLOW_MS);
    try {
      const response = await fetch(form.dataset.liveUrl || form.action, {
        method: "POST",
        headers: { "X-Live": "1", Accept: "text/html" },
        body: new URLSearchParams(new FormData(form)),
        signal: mine.signal,
        credentials: "same-origin",
      });
      // 422 is an answer too: it carries the complaints.
      if (!response.ok && response.status !== 422) {
        tell(status, why(response.status), true);
        return;
      }
      const html = new DOMParser().parseFromString(await response.text(), "text/html");
      if (mine.signal.aborted) return;
      const missing = swap(form, html);
      tell(status, missing ? "Part of the answer is missing. Reload the page." : "Up to date", missing);
      form.dispatchEvent(new CustomEvent("live:done", { bubbles: true }));
    } catch (error) {
      if (error.name === "AbortError") return;
      tell(status, "The shop’s computer cannot be reached. What you typed is still here; it is sent again at your next change.", true);
    } finally {
      clearTimeout(slow);
      if (running === mine) {
        running = null;
        mark(form, false);
      }
    }
  }

  form.addEventListener("input", (event) => {
    if (!event.target.closest("[data-live-ignore]")) ask(QUIET_MS);
  });
  form.addEventListener("change", (event) => {
    if (!event.target.closest("[data-live-ignore]") && !isTyped(event.target)) ask(0);
  });
  // Saving goes the ordinary way; an answer on its way would only arrive on a page that is gone.
  form.addEventListener("submit", () => {
    clearTimeout(timer);
    running?.abort();
  });
}

// Text has been sent by its input events; a choice is complete at once.
function isTyped(element) {
  return element instanceof HTMLTextAreaElement || (element instanceof HTMLInputElement && !["checkbox", "radio", "date"].includes(element.type));
}

function parts(form) {
  return form.dataset.live.split(/\s+/).filter(Boolean);
}

function mark(form, busy) {
  for (const id of parts(form)) document.getElementById(id)?.toggleAttribute("data-busy", busy);
}

// Swaps the named parts and gives the keyboard back to where it was. True when one did not come.
function swap(form, html) {
  let missing = false;
  const active = document.activeElement;
  const held = active?.id ? { id: active.id, value: active.value, start: caret(active, "selectionStart"), end: caret(active, "selectionEnd") } : null;
  for (const id of parts(form)) {
    const now = document.getElementById(id);
    const next = html.getElementById(id);
    if (!now || !next) {
      missing = true;
      continue;
    }
    const open = [...now.querySelectorAll("details[open][id]")].map((details) => details.id);
    const fresh = document.adoptNode(next);
    now.replaceWith(fresh);
    for (const details of fresh.querySelectorAll("details[id]")) if (open.includes(details.id)) details.open = true;
  }
  if (held && document.activeElement?.id !== held.id) {
    const again = document.getElementById(held.id);
    if (again) {
      if (held.value !== undefined && "value" in again && again.type !== "checkbox" && again.type !== "radio") again.value = held.value;
      again.focus({ preventScroll: true });
      if (held.start !== null && again.setSelectionRange) {
        try {
          again.setSelectionRange(held.start, held.end);
        } catch {
          // Some kinds of field have no caret to set.
        }
      }
    }
  }
  return missing;
}

function caret(element, which) {
  try {
    return element[which] ?? null;
  } catch {
    return null;
  }
}

function makeStatus() {
  const status = document.createElement("p");
  status.className = "live-status";
  status.setAttribute("role", "status");
  return status;
}

function tell(status, words, failed) {
  status.textContent = words;
  status.classList.toggle("failed", Boolean(failed));
}

function why(code) {
  if (code === 401 || code === 403) return "You have been signed out. Sign in again in another tab, then load this page again.";
  if (code === 409) return "Someone else changed this meanwhile. Load the page again to see both.";
  if (code === 413) return "That is more than can be sent at once.";
  if (code >= 500) return "Something broke on the shop’s computer. What you typed is still here; try again.";
  return `This was refused (${code}). What you typed is still here.`;
}
