// Keeps the page live. Without it the page still reads and acts; it then loads itself again every few seconds.
"use strict";

const QUIET_MS = 5000; // the PC says every second that it lives
const BOUNCE_MS = 1500; // a knuckle that bounces hits what has come to that place meanwhile
const NEAR_PX = 80; // as far as a knuckle moves between two taps
let pressed = { ms: -BOUNCE_MS, x: 0, y: 0, value: "" }; // the last act
let tap = { x: 0, y: 0 }; // of a key: nowhere
const WAITS_MS = 1000; // a hand waits no longer for a sign
const ANSWER_MS = 8000; // the PC answers an act within five seconds, whatever happens to it
const AGAIN_MS = 4000;
const DEAD_MS = 12000;
const SLOW_MS = 30000; // on a link that is behind for so long: connecting again drops what waits on it
const part = (name) => document.getElementById(name);
const address = part("readings").dataset.address; // of this warmer: without its name it means the only one there is
let heard = mark();
let over = false;
let stream = null;
let listened = mark();
let server = null;
const drawn = new Map(); // the parts as they are shown
let readingsCame = mark();
let refused = ""; // why the PC does not tell this phone any more
const READ_MS = 800; // nobody reads a new question sooner; a finger may be on its way to the button before
let changedMs = -READ_MS; // when the buttons last changed
const QUIETED_MS = 300000; // as long as a hold's alarms rest
let quietUntil = 0; // somebody is coming, and the PC cannot be told
let quickest = null; // the message of this connection that was on its way for the least time, by both clocks
let behindMs = 0; // for how much longer the last one was
let clock = null; // the PC's, in seconds, and this phone's at the same moment, in milliseconds

function show(name, html) {
  const place = part(name);
  if (!place || drawn.get(name) === html) return;
  if (name === "buttons" && drawn.has(name)) changedMs = performance.now();
  drawn.set(name, html);
  if (name === "readings") readingsCame = mark();
  const focused = place.contains(document.activeElement) ? document.activeElement.value : null;
  const focusedAt = [...place.querySelectorAll("button")].indexOf(document.activeElement);
  const heads = () => [...place.querySelectorAll("summary")];
  const open = heads().filter((each) => each.parentElement.open).map((each) => each.textContent);
  place.innerHTML = html;
  heads().forEach((each) => { each.parentElement.open = open.includes(each.textContent); });
  if (focused) { // an act that has become its opposite stays in its place
    (place.querySelector(`button[value="${CSS.escape(focused)}"]`) ?? place.querySelectorAll("button")[focusedAt])?.focus();
  }
}

// The PC sends old figures again each second; once it is not heard, their ages go on here.
function showAges() {
  const goneS = sinceMs(readingsCame) / 1000;
  for (const each of part("readings").querySelectorAll(".age")) {
    if (goneS > 2) each.textContent = durationWords(Number(each.dataset.s) + goneS);
  }
}

function state() {
  return part("readings").querySelector(".now")?.dataset ?? {};
}

function showLink() {
  showAges();
  const silentMs = sinceMs(heard) + behindMs, silentS = Math.round(silentMs / 1000);
  const silent = silentMs >= QUIET_MS && !over;
  part("link").hidden = !silent;
  part("readings").classList.toggle("stale", silent); // around what the PC itself calls old
  if (silent) {
    part("link").textContent = `${refused || (sinceMs(heard) < QUIET_MS && `The link to the PC is slow: what comes is ${durationWords(silentMs / 1000)} late. Look at the warmer.`) || `No word from the PC for ${durationWords(silentMs / 1000)}. The warmer needs no PC: look at it.`} `
      + "What you see is old.";
  }
  dispatchEvent(new CustomEvent("bain", { detail: {
    ...state(), runs: true, quiet: performance.now() < quietUntil, silentS: silent ? silentS : 0, lastsS: (performance.now() - heard.steady) / 1000,
    steadyMs: heard.steady, pcS: clock?.pcS,
  } }));
}

function hear(message) {
  heard = mark();
  refused = "";
  clock = { pcS: Number(message.lastEventId), hereMs: heard.steady };
  const onItsWay = clock.hereMs - 1000 * clock.pcS;
  quickest = Math.min(quickest ?? onItsWay, onItsWay);
  behindMs = onItsWay - quickest;
}

function listen() {
  stream?.close();
  stream = new EventSource(address.replace("/", "/live"));
  stream.addEventListener("now", (message) => {
    hear(message);
    for (const [name, html] of Object.entries(JSON.parse(message.data))) show(name, html);
    over = state().over === "1" && state().calling !== "1"; // it listens on: the next hold may come
    document.title = `${document.title.startsWith("(!) ") ? "(!) " : ""}${state().chocolate}`; // the next bowl may be another
    showLink();
  });
  stream.addEventListener("server", (message) => {
    // Restarted, or another hold: this page's buttons are none of it.
    if (server && server !== message.data) loadAgain("The PC's program was restarted, or another hold runs on this warmer.");
    server = message.data;
    quickest = null; // the first word of a connection waits behind no other
    hear(message);
  });
  stream.addEventListener("alive", (message) => {
    hear(message);
    showLink();
  });
  stream.addEventListener("error", () => {
    // The browser tries again by itself, except where the server refused: its program was restarted, or it is full.
    if (stream.readyState !== EventSource.CLOSED || over) return;
    setTimeout(async () => {
      refused = await whyRefused(stream.url);
      if (refused || !sounds()) loadAgain("");
      if (sounds()) listen();
    }, AGAIN_MS);
  });
}

listen();
setInterval(() => {
  showLink();
  // A phone that slept may hold a connection that is dead without knowing it.
  const dead = Math.min(sinceMs(heard), sinceMs(listened)) > DEAD_MS, slow = behindMs > QUIET_MS && sinceMs(listened) > SLOW_MS;
  if (!over && stream.readyState === EventSource.OPEN && (dead || slow)) {
    listened = mark();
    listen();
  }
}, 1000);

// A phone that sounds stays: the page that came might be silent. Its person loads it again.
async function loadAgain(why) {
  if (sounds()) {
    part("again").hidden = false;
    part("again").firstElementChild.textContent = why;
    return;
  }
  try {
    await fetch(address, { method: "HEAD" });
    location.replace(address);
  } catch {
    setTimeout(() => loadAgain(why), AGAIN_MS);
  }
}

const DONE_SHOWN_MS = 4000; // it may lie over the next question
const READ_MS_A_LETTER = 70; // chosen: a slow reader's; advice may come with the answer
const FAILED_SHOWN_MS = 10000;
let answeredAt = 0;

function answer(words, done) {
  const place = part("reply");
  const shownMs = Math.max(done ? DONE_SHOWN_MS : FAILED_SHOWN_MS, READ_MS_A_LETTER * words.length);
  answeredAt = Date.now();
  setTimeout(() => { if (Date.now() - answeredAt >= shownMs) place.hidden = true; }, shownMs);
  place.hidden = false;
  place.className = `reply ${done ? "done" : "failed"}`;
  place.textContent = words;
}

document.addEventListener("click", (event) => { tap = { x: event.clientX, y: event.clientY }; }, true);

document.addEventListener("submit", async (event) => {
  if (event.target.id !== "acts") return;
  event.preventDefault();
  const button = event.submitter, now = performance.now(), last = pressed;
  if (now - last.ms < BOUNCE_MS && Math.hypot(tap.x - last.x, tap.y - last.y) < NEAR_PX) {
    if (button.value !== last.value) answer("Not sent: it came right after another tap there. Look, and press again.", false);
    return;
  }
  pressed = { ms: now, ...tap, value: button.value };
  if (now - changedMs < READ_MS) {
    answer("Not sent: the buttons have just changed. Look, and press again.", false);
    return;
  }
  const focused = document.activeElement === button;
  const body = new URLSearchParams(new FormData(event.target, button));
  if (clock) body.set("at", clock.pcS + (performance.now() - clock.hereMs) / 1000); // an act that is late is not sent
  button.disabled = true;
  answer("Sending …", true);
  const waits = setTimeout(() => answer("No answer yet …", true), WAITS_MS);
  try {
    const response = await fetch(button.hasAttribute("formaction") ? button.formAction : event.target.action, {
      method: "POST", body, headers: { accept: "application/json" }, signal: AbortSignal.timeout(ANSWER_MS),
    });
    const reply = await response.json();
    clearTimeout(waits);
    answer(reply.words, reply.done);
  } catch {
    clearTimeout(waits);
    const coming = button.value === "coming";
    if (coming) quietUntil = performance.now() + QUIETED_MS;
    answer(`No answer came from the PC: it may have arrived, or not. ${coming ? "This phone alone is quiet for five minutes. Look at the warmer."
      : "Look at the warmer before you do it again."}`, false);
  }
  button.disabled = false;
  if (focused && document.activeElement === document.body) { // it lost the focus while it was disabled
    (part("buttons").querySelector(`button[value="${CSS.escape(button.value)}"]`) ?? part("buttons").querySelector("button"))
      ?.focus({ preventScroll: true });
  }
});
