// Keeps the list of warmers live; a page that loads itself again could sound no alarm.
"use strict";

const EACH_LIST_MS = 3000;
const list = document.querySelector(".warmers");

async function follow() {
  try {
    const answer = await fetch(location.href, { signal: AbortSignal.timeout(EACH_LIST_MS) });
    const found = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector(".warmers");
    if (!found && !sounds()) location.reload(); // one warmer alone has no list
    if (!found || found.innerHTML === list.innerHTML) return;
    const focused = document.activeElement?.getAttribute("href");
    list.innerHTML = found.innerHTML;
    [...list.querySelectorAll("a")].find((each) => each.getAttribute("href") === focused)?.focus();
  } catch {
    // elsewhere.js says that the PC is not heard
  }
}

setInterval(follow, EACH_LIST_MS);
