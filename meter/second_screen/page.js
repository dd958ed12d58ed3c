// The page of the second screen. It shows what Leadline sends and works nothing out, but one thing: that nothing
// comes any more. The key stands behind the # of the address, which a browser keeps to itself.
"use strict";

const LATE_MS = 3000; // so long without an event: the connection is lost
const AGAIN_MS = 2000;
const AGAIN_WHEN_FULL_MS = 10000;
const NOT_KNOWN = "--";
const SVG = "http://www.w3.org/2000/svg";

const byId = (id) => document.getElementById(id);
let heardMs = null; // when the last event came
let isOver = false; // nothing more will come of this run
let refusal = ""; // what the server said instead
let running = null; // stops the stream

// --- what is shown

function put(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function showTile(name, tile) {
  const section = byId(name);
  for (const part of ["value", "suffix", "unit", "verdict", "more"]) put(section.querySelector("." + part), tile[part]);
  section.classList.toggle("calls", tile.calls);
}

function showRope(rope) {
  const band = byId("band"), knot = byId("knot");
  band.toggleAttribute("hidden", rope.band === null);
  if (rope.band !== null) {
    band.setAttribute("x", 1000 * rope.band[0]);
    band.setAttribute("width", 1000 * (rope.band[1] - rope.band[0]));
  }
  knot.toggleAttribute("hidden", rope.at === null);
  if (rope.at !== null) knot.setAttribute("transform", `translate(${1000 * rope.at} 0)`);
  const asked = JSON.stringify(rope.ticks), scale = byId("scale");
  if (scale.dataset.shown === asked) return;
  scale.dataset.shown = asked;
  byId("ticks").replaceChildren();
  scale.replaceChildren();
  for (const [at, text] of rope.ticks) {
    const line = document.createElementNS(SVG, "line");
    for (const [key, value] of Object.entries({ x1: 1000 * at, x2: 1000 * at, y1: 22, y2: 66 })) {
      line.setAttribute(key, value);
    }
    byId("ticks").append(line);
    const label = document.createElement("span");
    label.textContent = text;
    label.style.left = 100 * at + "%";
    label.className = at < 0.02 ? "first" : at > 0.98 ? "last" : "";
    scale.append(label);
  }
}

function showNotice(notice, sentence, calls) {
  put(byId("notice"), notice);
  put(byId("sentence"), sentence);
  byId("words").classList.toggle("calls", calls);
}

// An event that lay in a buffer while the phone slept is not of now: it comes later than the quickest one did.
function isOld(news) {
  const behindMs = Date.now() - news.at_ms; // of two clocks that know nothing of each other
  running.leastMs = Math.min(running.leastMs, behindMs);
  return behindMs - running.leastMs >= LATE_MS;
}

function show(news) {
  if (!news.is_over && isOld(news)) return;
  heardMs = Date.now();
  if (news.is_over) {
    isOver = true;
    showNothing(news.notice, "Open the address of the next run when it listens again.");
    return;
  }
  showNotice(news.notice, news.sentence, news.calls || news.notice !== "");
  put(byId("source"), news.source);
  put(byId("target"), news.target);
  for (const [name, tile] of Object.entries(news.tiles)) showTile(name, tile);
  showRope(news.rope);
}

// No number is left on the page that could be taken for one of now.
function showNothing(notice, sentence) {
  showNotice(notice, sentence, true);
  for (const section of document.querySelectorAll("main section")) {
    showTile(section.id, { value: NOT_KNOWN, suffix: "", unit: "", verdict: "", more: "", calls: false });
  }
  byId("knot").toggleAttribute("hidden", true);
}

// --- whether anything comes

function lookAtClock() {
  if (isOver || refusal !== "") return;
  const agoMs = heardMs === null ? Infinity : Date.now() - heardMs;
  if (agoMs >= 0 && agoMs < LATE_MS) return; // a clock that was set back shows nothing until the next event
  if (heardMs === null) {
    showNothing("Connecting", "");
  } else {
    const ago = agoMs < 0 ? "" : ` for ${Math.round(agoMs / 1000)} s`;
    showNothing("Connection lost", `Nothing has come from Leadline${ago}. Trying again.`);
  }
  if (running !== null && Date.now() - Math.max(heardMs, running.sinceMs) > 2 * LATE_MS) running.abort();
}

// --- what comes

async function readEvents(stream) {
  const reader = stream.pipeThrough(new TextDecoderStream()).getReader();
  let waiting = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    const events = (waiting + value).split("\n\n");
    waiting = events.pop();
    // After a pause several come at once: only the newest is of now.
    if (events.length > 0) show(JSON.parse(events.at(-1).replace(/^data: /, "")));
  }
}

async function listen(key) {
  running = new AbortController();
  running.sinceMs = Date.now();
  running.leastMs = Infinity; // a clock that was set is forgotten with the connection
  const answer = await fetch("events", {
    headers: { Authorization: "Bearer " + key },
    cache: "no-store",
    signal: running.signal,
  });
  if (answer.ok) {
    refusal = "";
    await readEvents(answer.body);
    return AGAIN_MS;
  }
  refusal = (await answer.text()).trim();
  showNothing(answer.status === 503 ? "Full" : "Not let in", refusal);
  return answer.status === 503 ? AGAIN_WHEN_FULL_MS : null;
}

async function listenForEver() {
  const key = location.hash.slice(1);
  if (key === "") {
    refusal = "The key is missing: open the whole address that Leadline printed, with all that stands after the #.";
    showNothing("Not let in", refusal);
    return;
  }
  while (!isOver) {
    let waitMs = AGAIN_MS;
    try {
      waitMs = await listen(key);
    } catch {
      refusal = ""; // not reached, or broken off: the clock says so
    }
    if (waitMs === null) return;
    if (!isOver) await new Promise((go) => setTimeout(go, waitMs));
  }
}

// --- how large, and in which colours

function fit() {
  const gauge = byId("gauge").getBoundingClientRect();
  const perEm = gauge.width / 100; // it is set in letters of 100 px
  if (perEm > 0) document.documentElement.style.setProperty("--value-em", perEm.toFixed(3));
}

function wear(palette) {
  document.documentElement.dataset.palette = palette;
  put(byId("palette"), palette === "night" ? "Day" : "Night");
}

function remembered() {
  try {
    return localStorage.getItem("palette");
  } catch {
    return null;
  }
}

byId("palette").addEventListener("click", () => {
  const palette = document.documentElement.dataset.palette === "night" ? "day" : "night";
  wear(palette);
  try {
    localStorage.setItem("palette", palette);
  } catch {
    // Then it is asked for again next time.
  }
});

wear(remembered() === "day" ? "day" : "night");
fit();
window.addEventListener("resize", fit);
window.addEventListener("hashchange", () => location.reload());
document.addEventListener("visibilitychange", lookAtClock);
setInterval(lookAtClock, 250);
listenForEver();
