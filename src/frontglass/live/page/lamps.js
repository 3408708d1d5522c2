// Clipped lamps on the picture: circles that are dragged up and down.

import { told } from "./api.js";
import { find, made, say } from "./parts.js";

const PIXELS_A_STOP = 24, STEP = 0.5, MOST = 20;

export class Lamps {
  constructor({ changed }) {
    Object.assign(this, { changed, isShown: false, still: null, held: null });
  }

  show(isShown) {
    this.isShown = isShown;
    find("lamps").hidden = !isShown;
    if (isShown && this.still && !this.still.lamps.length) say("Nothing in this still clips.");
  }

  update(still) {
    this.still = still;
    if (this.held) return; // not under the hand
    const focused = document.activeElement?.dataset?.lamp;
    find("lamps").replaceChildren(...still.lamps.map((lamp) => this.circle(lamp)));
    if (focused !== undefined) find("lamps").querySelector(`[data-lamp="${focused}"]`)?.focus();
  }

  circle(lamp) {
    const circle = made("button", "", { type: "button", class: "lamp", "data-lamp": lamp.number });
    const size = `${Math.max(0, lamp.radius * 2.4 * 100)}%`;
    Object.assign(circle.style, { left: `${lamp.x * 100}%`, top: `${lamp.y * 100}%`, width: size, aspectRatio: "1" });
    circle.append(made("span"));
    this.label(circle, lamp, lamp.stops);
    let from = null;
    circle.addEventListener("pointerdown", (event) => {
      event.stopPropagation();
      circle.setPointerCapture(event.pointerId);
      from = { y: event.clientY, stops: lamp.stops, now: lamp.stops };
      this.held = circle;
    });
    circle.addEventListener("pointermove", (event) => {
      if (!from) return;
      from.now = limited(from.stops + (from.y - event.clientY) / PIXELS_A_STOP);
      this.label(circle, lamp, from.now);
      clearTimeout(this.rest);
      this.rest = setTimeout(() => from && this.set(lamp, from.now), 200);
    });
    const end = () => {
      if (!from) return;
      const { now, stops } = from;
      from = this.held = null;
      clearTimeout(this.rest);
      if (now !== stops) this.set(lamp, now);
    };
    circle.addEventListener("pointerup", end);
    circle.addEventListener("pointercancel", end);
    circle.addEventListener("keydown", (event) => {
      const step = { ArrowUp: STEP, ArrowDown: -STEP }[event.key];
      if (step) this.set(lamp, limited(lamp.stops + step));
      else if (event.key === "Delete" || event.key === "Backspace") this.set(lamp, null);
      else return;
      event.preventDefault();
      event.stopPropagation();
    });
    return circle;
  }

  label(circle, lamp, stops) {
    const isTyped = lamp.marked || stops !== lamp.stops;
    const unsure = isTyped ? "" : ` ±${lamp.unsure}`;
    circle.classList.toggle("unsure", !isTyped);
    circle.firstChild.replaceChildren(stops.toFixed(1), made("i", `${unsure} stops`));
    circle.setAttribute("aria-label",
      `Lamp ${lamp.number + 1}, ${stops.toFixed(1)} stops above white, ${isTyped ? "set" : "estimated"}`);
  }

  async set(lamp, stops) {
    if (stops !== null) lamp.stops = stops;
    try {
      this.changed(await told("lamp", { still: this.still.number, lamp: lamp.number, stops }));
    } catch (error) {
      say(error.message);
    }
  }
}

const limited = (stops) => Math.round(10 * Math.min(MOST, Math.max(0, stops))) / 10;
