// How far things are: the map over the still, and metres typed where one clicks.

import { pixels, query, Refused, said, told } from "./api.js";
import { find, made, painted, say } from "./parts.js";

const STEP = 0.01;
const clamp = (value) => Math.min(Math.max(0, value), 1);

export class Distances {
  constructor({ changed }) {
    Object.assign(this, { changed, isShown: false, still: null, at: [0.5, 0.5], held: "" });
    const stage = find("stage"), mark = find("place");
    stage.addEventListener("pointerdown", (event) => {
      if (!this.isShown || event.button !== 0 || event.target.closest("#lamps")) return;
      const { left, top, width, height } = stage.getBoundingClientRect();
      this.put([(event.clientX - left) / width, (event.clientY - top) / height]);
      this.read();
      event.preventDefault();
      find("metres").focus();
    });
    mark.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP] }[event.key];
      if (!step && event.key !== "Enter") return;
      event.preventDefault();
      event.stopPropagation();
      if (!step) { find("metres").focus(); return; }
      this.put([this.at[0] + step[0], this.at[1] + step[1]]);
      this.read();
    });
    find("awaybar").addEventListener("submit", (event) => {
      event.preventDefault();
      const metres = Number(find("metres").value.replace(",", "."));
      if (metres > 0) this.set(metres);
      else say("Metres are a number above 0, such as 3.5.");
    });
    find("forget").addEventListener("click", () => this.set(null));
  }

  show(isShown) {
    this.isShown = isShown;
    find("away").hidden = find("place").hidden = find("awaybar").hidden = find("points").hidden = !isShown;
    if (!isShown) return;
    this.put(this.at);
    this.read();
    this.load();
    find("place").focus({ preventScroll: true });
  }

  put(at) {
    this.at = at.map(clamp);
    Object.assign(find("place").style, { left: `${this.at[0] * 100}%`, top: `${this.at[1] * 100}%` });
  }

  update(still) {
    this.still = still;
    find("points").replaceChildren(...(still.points || []).map((point) => {
      const dot = made("div", `${point.metres} m`, { class: "point" });
      Object.assign(dot.style, { left: `${point.x * 100}%`, top: `${point.y * 100}%` });
      return dot;
    }));
    if (this.isShown) { this.load(); this.read(); }
  }

  async load() {
    const { still } = this;
    const key = `${still.number}|${still.light}`;
    if (key === this.held) return;
    this.held = key;
    try {
      const shades = await pixels(`still/${still.number}/distances`);
      if (key !== this.held) return;
      painted(find("away"), shades);
      find("away").dataset.key = key;
      find("away").hidden = !this.isShown;
    } catch (error) {
      find("away").hidden = true;
      find("here").textContent = error instanceof Refused ? "No distances yet: click a place and type its metres." : "";
    }
  }

  async read() {
    const [x, y] = this.at.map((one) => one.toFixed(4));
    try {
      const { metres, sky } = await said(`still/${this.still.number}/metres?${query({ x, y })}`);
      find("here").textContent = sky ? "here: sky" : metres === null ? "No distances yet: click a place and type its metres." : `here: ${metres.toPrecision(3)} m`;
    } catch { /* said elsewhere */ }
  }

  async set(metres) {
    try {
      this.changed(await told("distance", { still: this.still.number, place: this.at, metres }));
      find("metres").value = "";
    } catch (error) { say(error.message); }
  }
}
