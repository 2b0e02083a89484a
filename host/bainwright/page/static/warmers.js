// Keeps the list of warmers live; a page that loads itself again could sound no alarm.
"use strict";

const EACH_LIST_MS = 2000;
const LIST_OLD_MS = 5000;
const list = document.querySelector(".warmers");
const oldPlace = document.getElementById("old");
let loaded = mark();

// For whatever reason it was not loaded: the PC is not heard, this browser has too many pages open, its session ended.
function showListAge() {
  const ms = sinceMs(loaded);
  oldPlace.hidden = ms < LIST_OLD_MS;
  list.classList.toggle("stale", ms >= LIST_OLD_MS);
  if (ms < LIST_OLD_MS) return;
  oldPlace.textContent = `This list is ${Math.round(ms / 1000)} s old. Look at the warmers, load the page again, and close other pages of this PC.`;
}

async function follow() {
  try {
    const answer = await fetch(location.href, { signal: AbortSignal.timeout(EACH_LIST_MS) });
    const found = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector(".warmers");
    if (!found && answer.ok && !sounds()) location.reload(); // one warmer alone has no list
    if (!found) return;
    loaded = mark();
    if (found.innerHTML === list.innerHTML) return;
    const focused = document.activeElement?.getAttribute("href");
    list.innerHTML = found.innerHTML;
    [...list.querySelectorAll("a")].find((each) => each.getAttribute("href") === focused)?.focus();
  } catch {
    // the age of the list says so
  } finally {
    showListAge();
  }
}

setInterval(follow, EACH_LIST_MS);
setInterval(showListAge, 1000);
