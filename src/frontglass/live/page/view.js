// What is kept, to look at; a heart is all that can be given.

import { onLost, pixels, said, told } from "./api.js";
import { find, made, painted, say } from "./parts.js";

const ASK_MS = 4000;
let shown = "";
const waiting = [];
let busy = false;

onLost((isLost) => { find("lost").hidden = !isLost; });

async function load() {
  if (busy) return;
  busy = true;
  for (let next = waiting.shift(); next; next = waiting.shift()) {
    try { painted(next.canvas, await pixels(next.path)); next.canvas.dataset.shows = next.path; } catch (error) { say(error.message); }
  }
  busy = false;
}

function ask(canvas, path) { waiting.push({ canvas, path }); load(); }

const seen = new IntersectionObserver((entries) => {
  for (const { isIntersecting, target } of entries) {
    if (isIntersecting && !target.dataset.asked) { target.dataset.asked = "1"; ask(target, target.dataset.path); }
  }
}, { rootMargin: "300px" });

function card(choice, still) {
  const words = choice.looks.join(" + ");
  const card = made("article");
  const canvas = made("canvas", "", { role: "img", "aria-label": `${still.name} through ${words}` });
  canvas.dataset.path = `picture/${choice.key}/${still.number}`;
  seen.observe(canvas);
  const bare = made("button", "show bare", { type: "button", "aria-pressed": "false" });
  bare.addEventListener("click", () => {
    const isBare = bare.getAttribute("aria-pressed") !== "true";
    bare.setAttribute("aria-pressed", String(isBare));
    ask(canvas, `${canvas.dataset.path}${isBare ? "?bare=1" : ""}`);
  });
  const heart = made("button", "", { type: "button", class: "heart", "data-key": choice.key });
  heart.addEventListener("click", async () => {
    try { take(await told("heart", { key: choice.key, given: heart.getAttribute("aria-pressed") !== "true" })); } catch (error) { say(error.message); }
  });
  const row = made("div", "", { class: "row" });
  row.append(heart, bare);
  card.append(made("h2", choice.name || words), canvas, made("p", `${still.name}, ${words}`, { class: "faint" }));
  if (choice.why) card.append(made("p", choice.why));
  card.append(row);
  return card;
}

function take({ title, kept }) {
  find("title").textContent = title || "What is kept";
  const key = JSON.stringify(kept.map((one) => [one.key, one.name, one.why]));
  if (key !== shown) {
    shown = key;
    find("choices").replaceChildren(...kept.flatMap((choice) => choice.stills.map((still) => card(choice, still))));
    if (!kept.length) find("choices").replaceChildren(made("p", "Nothing is kept yet."));
  }
  for (const heart of document.querySelectorAll(".heart")) {
    const choice = kept.find((one) => one.key === heart.dataset.key);
    heart.textContent = `${choice.given ? "♥" : "♡"} ${choice.hearts}`;
    heart.setAttribute("aria-pressed", String(choice.given));
    heart.setAttribute("aria-label", `Heart, ${choice.hearts} so far`);
  }
}

async function again() {
  try { take(await said("kept")); } catch { /* said already */ }
  setTimeout(again, ASK_MS);
}
again();
