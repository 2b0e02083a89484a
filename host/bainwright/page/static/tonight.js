// Ticks and timers of tonight's steps, stored on this phone so that they outlive a reload.
"use strict";

const steps = document.querySelector(".steps");
const store = `tonight ${steps?.dataset.made}`;
let saved = { ticks: {}, timers: {} };
try {
  saved = { ...saved, ...JSON.parse(localStorage.getItem(store) ?? "{}") };
} catch {
  // a phone that stores nothing: the ticks last as long as the page
}

function save() {
  try {
    localStorage.setItem(store, JSON.stringify(saved));
  } catch {
    // as above
  }
}

function minutes(seconds) {
  return `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
}

const BOUNCE_TIMER_MS = 1000;
const ASKS_MS = 5000;
const tapped = new Map(); // when, of each timer's button
const asked = new Set(); // buttons that ask whether to clear their timer

function show(button, at) {
  const begun = saved.timers[at];
  if (!begun) {
    button.textContent = "Start the timer";
    return;
  }
  const goneS = (Date.now() - begun) / 1000;
  const late = goneS > (Number(button.dataset.high) || Infinity); // 0: nobody knows how long at most
  if (late && button.classList.contains("running")) dispatchEvent(new Event("timer")); // once, and not after a reload
  button.classList.toggle("running", !late);
  button.classList.toggle("late", late);
  if (asked.has(button)) {
    button.textContent = "Tap again to clear the timer";
    return;
  }
  button.textContent = `${minutes(goneS)} of about ${Math.round(Number(button.dataset.likely) / 60)} min${late ? ": longer than planned" : ""}`;
}

for (const box of document.querySelectorAll(".steps input")) {
  box.checked = Boolean(saved.ticks[box.value]);
  box.addEventListener("change", () => { saved.ticks[box.value] = box.checked; save(); });
}

const timers = [...document.querySelectorAll(".timer")];
timers.forEach((button, at) => {
  button.hidden = false;
  show(button, at);
  button.addEventListener("click", () => {
    const now = performance.now();
    if (now - (tapped.get(button) ?? -BOUNCE_TIMER_MS) < BOUNCE_TIMER_MS) return; // a knuckle that bounces
    tapped.set(button, now);
    if (saved.timers[at] && !asked.has(button)) { // a slip loses no minutes
      asked.add(button);
      setTimeout(() => { asked.delete(button); show(button, at); }, ASKS_MS);
    } else {
      if (asked.delete(button)) delete saved.timers[at];
      else saved.timers[at] = Date.now();
      save();
    }
    show(button, at);
  });
});
setInterval(() => timers.forEach(show), 1000);
