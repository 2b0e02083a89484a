// The alarm of this phone: it sounds while a warmer asks for somebody, and when nothing is heard any more.
// A browser lets a page sound only after a tap on it, or after one on the page before.
"use strict";

const SILENT_ALARM_S = 60; // without a word from the PC
const LASTS_S = 5; // of them by a clock that nobody sets: one that is set makes no silence
const EACH_MS = 15000; // between two calls; after LOUD_AFTER_MS three times as often
const LOUD_AFTER_MS = 120000;
const REFUSES_MS = 4000;
const armButton = document.getElementById("arm");
const armed = document.getElementById("armed");
let sound = null;
let wake = null;
let since = null;
let next = 0;

// A moment by two clocks: one runs while the phone sleeps and may be set, the other neither.
function mark() {
  return { date: Date.now(), steady: performance.now() };
}

function sinceMs(moment) {
  return Math.max(Date.now() - moment.date, performance.now() - moment.steady);
}

const NO_MORE = "The PC's program was restarted, or it lets this phone look no more. Load this page again, and enter the code from the PC.";

// Why does the PC refuse a stream? Empty: it does not, or no word comes.
async function whyRefused(path) {
  try {
    const answer = await fetch(path, { method: "HEAD", redirect: "manual", signal: AbortSignal.timeout(REFUSES_MS) });
    if (answer.type === "opaqueredirect") return NO_MORE;
    if (answer.status === 404) return "This hold is not on the PC's page any more.";
    return answer.ok ? "" : "Too many phones watch already: this one hears no warmer.";
  } catch {
    return "";
  }
}

// As the PC says it.
function durationWords(s) {
  const min = Math.round(s / 60);
  if (s < 90) return `${Math.round(s)} s`;
  if (min < 60) return `${min} min`;
  return `${Math.floor(min / 60)} h${min % 60 ? ` ${String(min % 60).padStart(2, "0")} min` : ""}`;
}

// Does this phone sound? Then no page may load itself again: the next one might be silent.
function sounds() {
  return sound?.state === "running";
}

function beep(at, hertz) {
  const tone = sound.createOscillator();
  const level = sound.createGain();
  tone.frequency.value = hertz;
  level.gain.setValueAtTime(0.0001, at);
  level.gain.exponentialRampToValueAtTime(0.8, at + 0.02);
  level.gain.exponentialRampToValueAtTime(0.0001, at + 0.35);
  tone.connect(level).connect(sound.destination);
  tone.start(at);
  tone.stop(at + 0.4);
}

function call() {
  for (const [at, hertz] of [[0, 880], [0.45, 660], [0.9, 880]]) beep(sound.currentTime + at, hertz);
  navigator.vibrate?.([400, 200, 400]);
}

async function stayAwake() {
  if (!navigator.wakeLock || document.visibilityState !== "visible") return;
  try {
    wake = await navigator.wakeLock.request("screen");
  } catch {
    wake = null; // a phone that saves its battery refuses
  }
}

function showArmed() {
  armButton.hidden = sounds();
  if (!sounds()) armed.textContent = "This phone is silent again. Tap the button.";
  else if (wake && !wake.released) armed.textContent = "This phone sounds when the warmer needs somebody. It stays awake while this page is in front.";
  else armed.textContent = "This phone sounds when the warmer needs somebody, as long as its screen is on. Set the phone so that its screen stays on: one that sleeps is silent.";
}

function remember(name, value) {
  try {
    if (value) sessionStorage.setItem(name, value);
    return sessionStorage.getItem(name);
  } catch {
    return null; // a browser that stores nothing asks for a tap on each page
  }
}

function makeSound() {
  sound ??= new AudioContext();
  sound.onstatechange = showArmed;
}

armButton.addEventListener("click", async () => {
  makeSound();
  await sound.resume();
  remember("armed", "1");
  beep(sound.currentTime, 880);
  await stayAwake();
  if (window.isSecureContext && window.Notification?.permission === "default") await Notification.requestPermission();
  showArmed();
});

if (remember("armed")) { // on the page before
  makeSound();
  sound.resume();
  showArmed();
  stayAwake().then(showArmed);
}

document.addEventListener("visibilitychange", async () => {
  if (!sound || document.visibilityState !== "visible") return;
  await stayAwake();
  await sound.resume();
  showArmed();
});

addEventListener("timer", () => { // of a step of tonight's plan
  if (sounds()) call();
});

addEventListener("bain", ({ detail }) => {
  document.getElementById("alarm").hidden = !detail.runs;
  const silent = detail.silentS >= SILENT_ALARM_S && detail.lastsS >= LASTS_S;
  const calls = !detail.quiet && (silent || (detail.calling === "1" && detail.coming !== "1"));
  document.title = calls ? `(!) ${document.title.replace(/^\(!\) /, "")}` : document.title.replace(/^\(!\) /, "");
  if (!calls) {
    since = null;
    return;
  }
  const now = performance.now();
  if (since === null) {
    since = now; // `next` stays: what comes and goes sounds no more often than what stays
    if (window.isSecureContext && window.Notification?.permission === "granted" && document.visibilityState !== "visible") {
      new Notification(silent ? "No word from the PC" : "The warmer needs somebody");
    }
  }
  if (now < next || !sound) return;
  next = now + (now - since > LOUD_AFTER_MS ? EACH_MS / 3 : EACH_MS);
  call();
});
