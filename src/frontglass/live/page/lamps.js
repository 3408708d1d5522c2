// Clipped lamps on the picture: circles that are dragged up and down.

import { told } from "./api.js";
import { find, made, say } from "./parts.js";

const PIXELS_A_STOP = 24, STEP = 0.5, MOST = 20;

export class Lamps {
  constructor({ changed }) {
    Object.assign(this, { changed, isShown: false, still: null, held: null, shifted: 0 });
    const shift = find("shift"), { tell } = this;
    shift.addEventListener("input", () => {
      tell(shift.value);
      clearTimeout(this.resting);
      this.resting = setTimeout(() => this.shift(Number(shift.value)), 200);
    });
    shift.addEventListener("keydown", (event) => event.stopPropagation());
    // Let go, the handle stands in the middle again: lamps are brighter from where they are.
    shift.addEventListener("change", async () => {
      clearTimeout(this.resting);
      await this.shift(Number(shift.value));
      this.shifted = 0;
      shift.value = "0";
      tell(0);
    });
    find("estimates").addEventListener("click", () => this.shift(null));
    find("which").addEventListener("change", () => this.tellKind());
    find("kind").addEventListener("change", () => {
      const lamp = this.chosen(), kind = find("kind").value;
      if (lamp) this.set(lamp, null, kind);
    });
  }

  show(isShown) {
    this.isShown = isShown;
    find("lamps").hidden = find("lampbar").hidden = !isShown;
    this.part();
    if (isShown && this.still && !this.still.lamps.length) say("Nothing in this still clips.");
  }

  update(still) {
    // Lamps are numbered by their light, which a mark changes: the one in hand is known by its place.
    const before = this.still?.number === still.number ? this.still.lamps : [];
    const nowOf = (number) => {
      const old = before.find((one) => String(one.number) === number);
      return old && still.lamps.find((one) => one.x === old.x && one.y === old.y);
    };
    this.still = still;
    if (this.held) return; // not under the hand
    const focused = nowOf(document.activeElement?.dataset?.lamp), which = nowOf(find("which").value);
    find("which").replaceChildren(...still.lamps.map((lamp) => made("option", String(lamp.number + 1), { value: lamp.number })));
    if (which) find("which").value = which.number;
    this.tellKind();
    find("lamps").replaceChildren(...still.lamps.map((lamp) => this.circle(lamp)));
    this.part();
    if (focused) find("lamps").querySelector(`[data-lamp="${focused.number}"]`)?.focus();
  }

  /** Where labels would lie on one another, the later one shows under the hand alone. */
  part() {
    const labels = [...find("lamps").querySelectorAll("span")], free = [];
    for (const label of labels) label.classList.remove("under");
    if (!this.isShown) return;
    for (const label of labels) {
      const box = label.getBoundingClientRect();
      const isUnder = free.some((one) => box.left < one.right && box.right > one.left && box.top < one.bottom && box.bottom > one.top);
      label.classList.toggle("under", isUnder);
      if (!isUnder) free.push(box);
    }
  }

  layOut(state) {
    const kinds = state.kinds.map((one) => made("option", one, { value: one }));
    find("kind").replaceChildren(made("option", "not said", { value: "" }), ...kinds);
  }

  tell(stops) { find("shifted").textContent = `${stops < 0 ? "" : "+"}${Number(stops).toFixed(1)} stops`; }

  chosen() { return this.still?.lamps.find((one) => String(one.number) === find("which").value); }

  tellKind() { find("kind").value = this.chosen()?.kind || ""; }

  async shift(stops) {
    if (stops !== null && stops === this.shifted) return;
    const by = stops === null ? null : stops - this.shifted;
    if (stops !== null) this.shifted = stops;
    try {
      await this.changed(await told("lamps", { still: this.still.number, by }));
    } catch (error) { say(error.message); }
  }

  circle(lamp) {
    const circle = made("button", "", { type: "button", class: "lamp", "data-lamp": lamp.number });
    const size = `${Math.max(0, lamp.radius * 2.4 * 100)}%`;
    Object.assign(circle.style, { left: `${lamp.x * 100}%`, top: `${lamp.y * 100}%`, width: size, aspectRatio: "1" });
    circle.append(made("span"));
    this.label(circle, lamp, lamp.stops);
    let from = null;
    circle.addEventListener("focus", () => { find("which").value = lamp.number; this.tellKind(); });
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
    circle.firstChild.replaceChildren(`${lamp.number + 1}${lamp.kind ? ` ${lamp.kind}` : ""}: ${stops.toFixed(1)}`, made("i", `${unsure} stops`));
    circle.setAttribute("aria-label",
      `Lamp ${lamp.number + 1}, ${stops.toFixed(1)} stops above white, ${isTyped ? "set" : "estimated"}`);
  }

  async set(lamp, stops, kind = "") {
    if (stops !== null) lamp.stops = stops;
    try {
      this.changed(await told("lamp", { still: this.still.number, lamp: lamp.number, stops, kind }));
    } catch (error) {
      say(error.message);
    }
  }
}

const limited = (stops) => Math.round(10 * Math.min(MOST, Math.max(0, stops))) / 10;
