// On pages that show no hold: hears whether a warmer needs somebody, so that an armed phone sounds on them as well.
"use strict";

const CALLS_AGAIN_MS = 4000;
const CALLS_QUIET_MS = 5000; // the PC says every second that it lives
const callsPlace = document.getElementById("calls");
let callsHeard = mark();
let refused = ""; // why the PC does not tell this phone any more
let warmers = { runs: false, calling: false };

function showCalls() {
  const silentMs = warmers.runs ? sinceMs(callsHeard) : 0;
  const silent = silentMs >= CALLS_QUIET_MS;
  const noWord = `No word from the PC for ${durationWords(silentMs / 1000)}. The warmer needs no PC: look at it.`;
  const words = silent ? refused || noWord : "A warmer needs somebody.";
  callsPlace.hidden = !silent && !warmers.calling;
  if (callsPlace.firstElementChild.textContent !== words) callsPlace.firstElementChild.textContent = words;
  document.querySelector("main").classList.toggle("stale", silent);
  dispatchEvent(new CustomEvent("bain", { detail: {
    runs: warmers.runs, calling: warmers.calling ? "1" : "0", coming: "0",
    silentS: silent ? silentMs / 1000 : 0, lastsS: (performance.now() - callsHeard.steady) / 1000,
  } }));
}

// A PC that answers is there. A phone that sounds stays: the page that came would be silent.
async function askWhy() {
  refused = await whyRefused("/calls");
  if (refused === NO_MORE && !sounds()) location.reload();
}

function hearCalls() {
  const stream = new EventSource("/calls");
  stream.addEventListener("now", (message) => {
    callsHeard = mark();
    refused = "";
    warmers = JSON.parse(message.data);
    showCalls();
  });
  stream.addEventListener("alive", () => {
    callsHeard = mark();
    showCalls();
  });
  stream.addEventListener("error", () => { // the browser tries again by itself, except where the server refused
    if (stream.readyState !== EventSource.CLOSED) return;
    askWhy();
    setTimeout(hearCalls, CALLS_AGAIN_MS);
  });
}

hearCalls();
setInterval(showCalls, 1000);
