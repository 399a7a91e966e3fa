// The week: arrow keys between the boxes of the picture, and news of a plan that is being made.
//
// Left and right go along a machine or a person, up and down to the box nearest in time on the next row that has one;
// Home and End to the ends of the row. Enter follows the box's link. Tab still goes through them all.
//
// Work that is on a machine's row is on its person's row again. There it is only a shape with the key of the first box
// (`data-again`), which is made here into a link that says and does the same; Tab passes over it.
//
//   <p id="week-freshness" data-freshness="/week/freshness" data-plan="…" data-planning="yes">
//
// While a plan is being made the address is asked every second and the line says what it answers; every half minute
// otherwise. When there is a newer plan than the page shows, the parts named in `data-swap` are taken from the page
// loaded anew, unless something is being typed: then a link is offered.

const BUSY_MS = 1000;
const CALM_MS = 30000;

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
  const block = event.target.closest?.(".week-plot a.block");
  if (!block) return;
  const next = beside(block, event.key);
  if (!next) return;
  event.preventDefault();
  next.focus();
  next.scrollIntoView({ block: "nearest", inline: "nearest" });
});

const blocksOf = (row) => [...row.querySelectorAll("a.block")].sort((a, b) => left(a) - left(b));
const left = (block) => block.getBoundingClientRect().left;
const middle = (block) => {
  const box = block.getBoundingClientRect();
  return (box.left + box.right) / 2;
};

function beside(block, key) {
  const row = block.closest("g.row");
  const inRow = blocksOf(row);
  const at = inRow.indexOf(block);
  switch (key) {
    case "ArrowLeft":
      return inRow[at - 1];
    case "ArrowRight":
      return inRow[at + 1];
    case "Home":
      return inRow[0];
    case "End":
      return inRow.at(-1);
    case "ArrowUp":
    case "ArrowDown": {
      const rows = [...row.parentNode.querySelectorAll("g.row")];
      const step = key === "ArrowUp" ? -1 : 1;
      for (let i = rows.indexOf(row) + step; rows[i]; i += step) {
        const there = blocksOf(rows[i]);
        if (there.length) return nearest(there, middle(block));
      }
      return undefined;
    }
    default:
      return undefined;
  }
}

function nearest(blocks, x) {
  return blocks.reduce((best, block) => (Math.abs(middle(block) - x) < Math.abs(middle(best) - x) ? block : best));
}

const line = () => document.getElementById("week-freshness");

function again(milliseconds) {
  setTimeout(ask, milliseconds);
}

async function ask() {
  const here = line();
  if (!here) return;
  if (document.hidden) return again(CALM_MS);
  try {
    const response = await fetch(here.dataset.freshness, { headers: { Accept: "application/json" }, credentials: "same-origin" });
    if (!response.ok) return again(CALM_MS); // signed out, or the service is being restarted: the line stays as it was
    const news = await response.json();
    say(here, news.words);
    here.dataset.planning = news.busy ? "yes" : "no";
    const bar = here.querySelector("progress");
    if (bar) {
      bar.hidden = !news.busy;
      if (news.share === null || news.share === undefined) bar.removeAttribute("value");
      else bar.value = news.share;
    }
    if (news.plan && news.plan !== here.dataset.plan) await show(here);
    again(news.busy ? BUSY_MS : CALM_MS);
  } catch {
    again(CALM_MS); // no network: asked again later
  }
}

function say(here, words) {
  const place = here.querySelector(".says");
  if (place && place.textContent !== words) place.textContent = words;
}

// Puts the newer plan in place of the one on the page.
async function show(here) {
  const moving = document.getElementById("week-moving");
  const typing = moving || document.activeElement?.matches("input, select, textarea");
  if (typing) {
    here.querySelector(".newer").hidden = false;
    return;
  }
  const response = await fetch(document.location.href, { headers: { Accept: "text/html" }, credentials: "same-origin" });
  if (!response.ok) return;
  const html = new DOMParser().parseFromString(await response.text(), "text/html");
  const held = document.activeElement?.dataset?.block;
  for (const id of here.dataset.swap.split(" ")) {
    const now = document.getElementById(id);
    const next = html.getElementById(id);
    if (now && next) now.replaceWith(document.adoptNode(next));
  }
  repeat();
  const fresh = html.getElementById("week-freshness");
  if (fresh) here.dataset.plan = fresh.dataset.plan;
  if (held) document.querySelector(`a.block[data-block="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
}

// Makes the boxes that are there again into what the first ones are.
function repeat() {
  for (const plot of document.querySelectorAll(".week-plot")) {
    const boxes = new Map([...plot.querySelectorAll("a.block")].map((box) => [box.dataset.block, box]));
    for (const shape of plot.querySelectorAll("g.block[data-again]")) {
      const box = boxes.get(shape.dataset.again);
      if (!box) continue;
      const link = box.cloneNode(false);
      link.setAttribute("class", shape.getAttribute("class"));
      link.setAttribute("tabindex", "-1");
      link.append(box.querySelector("title").cloneNode(true), ...shape.childNodes);
      shape.replaceWith(link);
    }
  }
}

repeat();
const first = line();
if (first) again(first.dataset.planning === "yes" ? BUSY_MS : CALM_MS);
