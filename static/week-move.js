// Moves a box of the week by mouse, by touch or by keys. Nothing is changed here: where the box is let go of is a place
// that is asked for, and the page that opens shows what would come of it, or what is in the way.
//
// Mouse: drag. Touch: hold for a moment, then drag. Keys: M on a box, left and right by a quarter of an hour, with Shift
// by two hours, up and down to the other machines and people that can do it; Enter asks, Escape leaves it where it is.
//
//   <svg class="week-plot" data-open="2 2026-11-30T08:00 480;…" data-scale="0.35" data-sets="0 9 10;1 9">
//       position, shop's clock, minutes; sets of rows, counted from the top
//   <g class="row" data-machine="…" data-name="…" data-y="42" data-height="28">
//   <a class="block" data-block="key" data-rows="which set it may be moved in"><title>What\nwhere and when</title>

const FAR = 6; // pixels before a press becomes a drag
const HOLD_MS = 350;
const SNAP = 5; // minutes
const STEP = 15;
const LONG_STEP = 120;

let move = null;
let pressed = null;
let quiet = false;

document.addEventListener("pointerdown", (event) => {
  const block = event.target.closest?.(".week-plot a.block[data-rows]");
  if (!block || event.button !== 0 || move) return;
  pressed = { block, x: event.clientX, y: event.clientY, id: event.pointerId, touch: event.pointerType === "touch" };
  if (pressed.touch) {
    pressed.timer = setTimeout(() => {
      if (pressed) lift(pressed);
    }, HOLD_MS);
  }
});

document.addEventListener("pointermove", (event) => {
  if (pressed && event.pointerId === pressed.id && !move) {
    const far = Math.hypot(event.clientX - pressed.x, event.clientY - pressed.y) > FAR;
    if (far && pressed.touch) forget();
    else if (far) lift(pressed);
  }
  if (move?.pointer === event.pointerId) follow(event);
});

document.addEventListener("pointerup", (event) => {
  if (move?.pointer === event.pointerId) {
    quiet = true; // the click that follows is not one on the box
    setTimeout(() => {
      quiet = false;
    }, 0);
    ask();
  }
  forget();
});

document.addEventListener("pointercancel", () => {
  if (move && move.pointer !== undefined) drop();
  forget();
});

document.addEventListener("dragstart", (event) => {
  if (event.target.closest?.(".week-plot a.block[data-rows]")) event.preventDefault();
});

document.addEventListener("contextmenu", (event) => {
  if (move && move.pointer !== undefined) event.preventDefault();
});

document.addEventListener(
  "click",
  (event) => {
    if (!quiet) return;
    event.preventDefault();
    event.stopPropagation();
  },
  true,
);

document.addEventListener(
  "touchmove",
  (event) => {
    if (move && move.pointer !== undefined) event.preventDefault();
  },
  { passive: false },
);

document.addEventListener(
  "keydown",
  (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    if (!move) {
      const block = event.target.closest?.(".week-plot a.block[data-rows]");
      if (!block || (event.key !== "m" && event.key !== "M")) return;
      begin(block);
      say();
    } else if (!key(event)) {
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
  },
  true,
);

function key(event) {
  const step = event.shiftKey ? LONG_STEP : STEP;
  switch (event.key) {
    case "ArrowLeft":
      return shift(-step);
    case "ArrowRight":
      return shift(step);
    case "ArrowUp":
      return otherRow(-1);
    case "ArrowDown":
      return otherRow(1);
    case "Enter":
      return ask();
    case "Escape":
    case "Tab":
      return drop();
    default:
      return false;
  }
}

function forget() {
  clearTimeout(pressed?.timer);
  pressed = null;
}

function lift(from) {
  begin(from.block);
  move.pointer = from.id;
  const at = point(move.svg, from.x, from.y);
  move.grip = at.x - move.x;
  say();
}

function begin(block) {
  const svg = block.closest("svg");
  const body = block.querySelector("path").getBBox();
  const rows = [...svg.querySelectorAll("g.row")];
  const row = block.closest("g.row");
  const able = svg.dataset.sets.split(";")[block.dataset.rows].split(" ").map((at) => rows[at]);
  move = {
    block,
    what: block.querySelector("title").textContent.split("\n")[0],
    svg,
    scale: Number(svg.dataset.scale),
    open: svg.dataset.open.split(";").map((place) => {
      const [x, from, minutes] = place.split(" ");
      return { x: Number(x), from, minutes: Number(minutes) };
    }),
    rows: rows.filter((other) => other === row || able.includes(other)),
    row,
    was: { row, x: body.x },
    x: body.x,
    width: body.width,
    height: body.height,
    ghost: document.createElementNS("http://www.w3.org/2000/svg", "rect"),
  };
  move.ghost.setAttribute("class", "ghost");
  move.ghost.setAttribute("width", body.width);
  move.ghost.setAttribute("height", body.height);
  svg.append(move.ghost);
  block.classList.add("lifted");
  draw();
}

function point(svg, x, y) {
  return new DOMPoint(x, y).matrixTransform(svg.getScreenCTM().inverse());
}

function follow(event) {
  const at = point(move.svg, event.clientX, event.clientY);
  move.x = clamp(at.x - move.grip);
  const over = move.rows.find((row) => at.y >= Number(row.dataset.y) && at.y < Number(row.dataset.y) + Number(row.dataset.height));
  if (over) move.row = over;
  draw();
  say();
}

function clamp(x) {
  const last = move.open.at(-1);
  return Math.min(Math.max(x, move.open[0].x), last.x + (last.minutes - SNAP) * move.scale);
}

function shift(minutes) {
  move.x = clamp(move.x + minutes * move.scale);
  draw();
  say();
  return true;
}

function otherRow(step) {
  const next = move.rows[move.rows.indexOf(move.row) + step];
  if (next) move.row = next;
  draw();
  say();
  return true;
}

function draw() {
  const y = Number(move.row.dataset.y) + (28 - move.height) / 2;
  move.ghost.setAttribute("x", move.x);
  move.ghost.setAttribute("y", y);
  move.ghost.scrollIntoView({ block: "nearest", inline: "nearest" });
}

// The time by the shop's clock, to five minutes: `2026-11-30T09:35`.
function time() {
  const place = move.open.findLast((open) => open.x <= move.x + 0.01) ?? move.open[0];
  const raw = (move.x - place.x) / move.scale;
  const minutes = Math.min(Math.max(Math.round(raw / SNAP) * SNAP, 0), Math.max(place.minutes - SNAP, 0));
  const at = new Date(`${place.from}:00Z`);
  at.setUTCMinutes(at.getUTCMinutes() + minutes);
  return at.toISOString().slice(0, 16);
}

function say() {
  let place = document.getElementById("week-moving");
  if (!place) {
    place = document.createElement("p");
    place.id = "week-moving";
    place.className = "week-moving";
    place.setAttribute("role", "status");
    document.body.append(place);
  }
  const at = new Date(`${time()}:00Z`);
  const day = at.toLocaleDateString("en-GB", { weekday: "short", day: "numeric", month: "short", timeZone: "UTC" });
  const how = move.pointer === undefined ? " Enter: preview. Escape: leave it." : "";
  place.textContent = `${move.what}: ${move.row.dataset.name}, ${day}, ${time().slice(11)}.${how}`;
}

function drop() {
  move.ghost.remove();
  move.block.classList.remove("lifted");
  document.getElementById("week-moving")?.remove();
  move = null;
  return true;
}

// Opens the preview of the place the box was left at; where it was left where it was, nothing happens.
function ask() {
  const stayed = move.row === move.was.row && Math.abs(move.x - move.was.x) < 1;
  const picture = document.getElementById("week-picture");
  const [day, clock] = time().split("T");
  const fields = { kind: "place", operation: move.block.dataset.block, day, time: clock, from: picture.dataset.from, days: picture.dataset.days };
  if (move.row.dataset.machine) fields.on = move.row.dataset.machine;
  if (move.row.dataset.person) fields.with = move.row.dataset.person;
  drop();
  if (!stayed) document.location.assign(`/week/preview?${new URLSearchParams(fields)}`);
  return true;
}
