// Says what happened while this page heard nothing: the phone slept, the link was lost, another page was open.
"use strict";

const GAP_MS = 5000; // as long as figures may be silent before they are struck out
const CATCHES_UP_MS = 10000; // a phone that wakes reads old messages first
const SHOWN_MS = 120000;
const STORE = `seen ${document.getElementById("readings").dataset.address}`; // until the tab is closed, also while another page is open
let seen = stored(); // when the PC was heard, by its clock and by this page's; hold's time, newest event, and since when the PC heard the hold without a gap
let gap = null; // at: when it ended; ms: how long; newest: the event before it; elsewhere: another page was open; lacks: the PC did not hear all of it
let first = true;

function stored() {
  try {
    return JSON.parse(sessionStorage.getItem(STORE));
  } catch {
    return null;
  }
}

function eventsSince(newest) {
  const events = [...document.querySelectorAll(".events li")].map((each) => each.textContent.trim());
  const at = events.indexOf(newest);
  return (at < 0 ? events : events.slice(0, at)).reverse();
}

function say() {
  const missed = eventsSince(gap.newest);
  if (gap.elsewhere && !missed.length && !gap.lacks) return;
  const place = document.getElementById("missed");
  const meanwhile = missed.length ? `Meanwhile: ${missed.join("; ")}.` : "Nothing happened meanwhile.";
  place.textContent = `This page heard nothing for ${durationWords(gap.ms / 1000)}. ${gap.lacks
    ? "For part of that time no program on the PC heard the warmer either: curves and events lack it."
    : `Its curves are whole again. ${meanwhile}`}`;
  place.hidden = false;
}

addEventListener("bain", ({ detail }) => {
  const now = performance.now(), t = Number(detail.t), since = Number(detail.since);
  if (gap && now > gap.at + SHOWN_MS) {
    document.getElementById("missed").hidden = true;
    gap = null;
  }
  if (detail.silentS || Number.isNaN(t) || detail.pcS === undefined) return;
  // By two clocks that nobody sets: a phone that sleeps may stop its own, and reads late what the PC said meanwhile.
  const ms = seen && Math.max(1000 * (detail.pcS - seen.pcS), detail.steadyMs - (seen.steadyMs ?? detail.steadyMs));
  if (seen && seen.t <= t && ms >= GAP_MS) gap = { at: now, ms, newest: seen.newest, elsewhere: first, lacks: since > seen.since };
  if (gap && now < gap.at + CATCHES_UP_MS) say();
  first = false;
  seen = { pcS: detail.pcS, steadyMs: detail.steadyMs, t, since, newest: eventsSince("").at(-1) ?? "" };
});

addEventListener("pagehide", () => {
  try {
    sessionStorage.setItem(STORE, JSON.stringify({ ...seen, steadyMs: undefined }));
  } catch {
    // a browser that stores nothing begins again on each page
  }
});
