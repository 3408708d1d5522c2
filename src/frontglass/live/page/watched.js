// Watched parts: drawn on the still, magnified beside it, with the numbers that compare shows.

import { query, said, told } from "./api.js";
import { find, made, say } from "./parts.js";

const STEP = 0.01, LEAST = 0.01;
const clamp = (value, most) => Math.min(Math.max(0, value), most);

export class Watched {
  constructor({ changed }) {
    Object.assign(this, { changed, isShown: false, list: [], asked: "", busy: false, box: [0.4, 0.35, 0.2, 0.3] });
    const stage = find("stage"), box = find("box");
    let from = null;
    const place = (event) => {
      const { left, top, width, height } = stage.getBoundingClientRect();
      return [clamp((event.clientX - left) / width, 1), clamp((event.clientY - top) / height, 1)];
    };
    stage.addEventListener("pointerdown", (event) => {
      if (!this.isShown || event.button !== 0) return;
      stage.setPointerCapture(event.pointerId);
      from = place(event);
      event.preventDefault();
    });
    stage.addEventListener("pointermove", (event) => {
      if (!from) return;
      const to = place(event);
      this.put([Math.min(from[0], to[0]), Math.min(from[1], to[1]), Math.abs(to[0] - from[0]), Math.abs(to[1] - from[1])]);
    });
    stage.addEventListener("pointerup", () => {
      if (!from) return;
      from = null;
      if (Math.min(this.box[2], this.box[3]) >= LEAST) this.watch();
    });
    stage.addEventListener("pointercancel", () => { from = null; });
    box.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP] }[event.key];
      if (!step && event.key !== "Enter") return;
      event.preventDefault();
      event.stopPropagation();
      if (!step) { this.watch(); return; }
      const [x, y, width, height] = this.box;
      if (event.shiftKey) this.put([x, y, Math.max(LEAST, clamp(width + step[0], 1 - x)), Math.max(LEAST, clamp(height + step[1], 1 - y))]);
      else this.put([clamp(x + step[0], 1 - width), clamp(y + step[1], 1 - height), width, height]);
    });
    find("watch-now").addEventListener("click", () => this.watch());
    find("in-full").addEventListener("change", () => this.changed(null));
  }

  show(isShown) {
    this.isShown = isShown;
    find("box").hidden = find("watchbar").hidden = !isShown;
    find("stage").classList.toggle("drawing", isShown);
    if (isShown) { this.put(this.box); find("box").focus({ preventScroll: true }); }
    this.outline();
  }

  put(box) {
    this.box = box;
    frame(find("box"), box);
  }

  async watch() {
    const name = find("part").value;
    try {
      this.changed(await told("watch", { still: this.number, name, place: this.box }));
      say(`Watching ${name}.`);
    } catch (error) { say(error.message); }
  }

  /** Ask for the numbers of what is on the screen, one question at a time. */
  async ask(still, looks, scene) {
    this.number = still.number;
    find("full-row").hidden = !this.list.length || still.full[0] === still.width;
    const full = find("in-full").checked && still.full[0] !== still.width ? 1 : 0;
    this.wanted = { key: [still.number, still.light, looks.join("+"), full, scene].join("|"), number: still.number, words: query({ look: looks, full }) };
    if (this.busy || this.asked === this.wanted.key) return;
    // Of a scene in which nothing is watched there is nothing more to ask.
    const about = `${still.number}|${scene}`;
    if (!this.list.length && this.about === about) { this.asked = this.wanted.key; return; }
    this.busy = true;
    const { key, number, words } = this.wanted;
    try {
      const { parts } = await said(`still/${number}/watched?${words}`);
      if (this.number === number) { this.asked = key; this.about = about; this.take(parts); }
    } catch (error) {
      this.asked = key;
      if (error.name !== "TypeError") say(error.message);
    }
    this.busy = false;
    if (this.wanted.key !== this.asked) this.changed(null);
  }

  take(parts) {
    const isSame = parts.length === this.list.length && parts.every((one, k) => one.name === this.list[k].name);
    this.list = parts;
    if (!isSame) find("parts").replaceChildren(...parts.map((one) => this.item(one)));
    find("watched").hidden = !parts.length;
    [...find("parts").children].forEach((item, k) => {
      const { bare, seen, problem } = parts[k];
      const rows = problem ? [made("p", problem)] : seen.flatMap((text, n) => [made("p", text), made("p", `bare: ${bare[n]}`, { class: "faint" })]);
      item.querySelector(".numbers").replaceChildren(...rows);
    });
    this.outline();
    this.paint();
  }

  item(part) {
    const item = made("li");
    const row = made("div", "", { class: "row" });
    const away = made("button", "no longer", { type: "button", "aria-label": `Watch ${part.name} no longer` });
    away.addEventListener("click", async () => {
      try { this.changed(await told("unwatch", { still: this.number, name: part.name })); } catch (error) { say(error.message); }
    });
    row.append(made("strong", part.name), away);
    item.append(made("canvas", "", { role: "img", "aria-label": `${part.name}, magnified` }), row, made("div", "", { class: "numbers" }));
    return item;
  }

  outline() {
    find("outlines").replaceChildren(...(this.isShown ? this.list : []).map((part) => {
      const outline = made("div", "", { class: "outline" });
      outline.append(made("span", part.name));
      frame(outline, part.place);
      return outline;
    }));
  }

  /** Magnify the parts as the large picture is now, blend or render. */
  paint() {
    const whole = find("picture");
    [...find("parts").children].forEach((item, k) => {
      const [x, y, width, height] = this.list[k].place.map((share, n) => share * (n % 2 ? whole.height : whole.width));
      const canvas = item.querySelector("canvas");
      const scale = Math.max(1, Math.floor(Math.min(544 / width, 360 / height)));
      const size = [Math.max(1, Math.round(width * scale)), Math.max(1, Math.round(height * scale))];
      if (canvas.width !== size[0] || canvas.height !== size[1]) Object.assign(canvas, { width: size[0], height: size[1] });
      const context = canvas.getContext("2d");
      context.imageSmoothingEnabled = false;
      context.drawImage(whole, x, y, width, height, 0, 0, ...size);
    });
  }
}

function frame(element, [x, y, width, height]) {
  Object.assign(element.style, { left: `${x * 100}%`, top: `${y * 100}%`, width: `${width * 100}%`, height: `${height * 100}%` });
}
