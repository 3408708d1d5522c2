// The loupe: pixels of the full still, one by one on the screen.

import { find, painted } from "./parts.js";

const STEP = 0.02;

export class Loupe {
  constructor({ moved }) {
    Object.assign(this, { moved, isShown: false, x: 0.5, y: 0.5, drawn: "" });
    this.canvas = find("loupe");
    let from = null;
    this.canvas.addEventListener("pointerdown", (event) => {
      event.stopPropagation();
      this.canvas.setPointerCapture(event.pointerId);
      from = { x: event.clientX, y: event.clientY };
    });
    this.canvas.addEventListener("pointermove", (event) => {
      if (!from) return;
      const box = find("stage").getBoundingClientRect();
      this.move((event.clientX - from.x) / box.width, (event.clientY - from.y) / box.height);
      from = { x: event.clientX, y: event.clientY };
    });
    for (const name of ["pointerup", "pointercancel"]) {
      this.canvas.addEventListener(name, () => { from = null; });
    }
    this.canvas.addEventListener("keydown", (event) => {
      const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!steps) return;
      this.move(steps[0] * STEP, steps[1] * STEP);
      event.preventDefault();
      event.stopPropagation();
    });
  }

  show(isShown) {
    this.isShown = isShown;
    this.canvas.hidden = !isShown;
    if (isShown) { this.move(0, 0); this.canvas.focus({ preventScroll: true }); }
  }

  move(across, down) {
    this.x = Math.min(1, Math.max(0, this.x + across));
    this.y = Math.min(1, Math.max(0, this.y + down));
    const { canvas } = this;
    const stage = find("stage");
    const place = (share, whole, own) => Math.min(Math.max(0, share * whole - own / 2), Math.max(0, whole - own));
    canvas.style.left = `${place(this.x, stage.clientWidth, canvas.offsetWidth)}px`;
    canvas.style.top = `${place(this.y, stage.clientHeight, canvas.offsetHeight)}px`;
    this.moved();
  }

  want(still, looks) {
    this.full = still.full;
    const place = [this.x.toFixed(4), this.y.toFixed(4)];
    this.key = `tile|${still.number}|${still.light}|${looks.join("+")}|${place}`;
    return { key: this.key, path: `still/${still.number}/tile`, values: { look: looks, x: place[0], y: place[1] } };
  }

  draw(renders) {
    if (!this.isShown || !this.key) return;
    const found = renders.get(this.key);
    this.canvas.classList.toggle("late", !found);
    if (!found) this.drawLate();
    else if (this.drawn !== this.key) painted(this.canvas, found);
    this.drawn = found ? this.key : "";
  }

  /** The same place of the large picture, until the full still is there. */
  drawLate() {
    const { canvas } = this, whole = find("picture");
    const share = whole.width / this.full[0];
    const sizes = [canvas.width * share, canvas.height * share];
    const from = [this.x * whole.width, this.y * whole.height].map((place, k) => {
      const most = [whole.width, whole.height][k] - sizes[k];
      return Math.min(Math.max(0, place - sizes[k] / 2), Math.max(0, most));
    });
    canvas.getContext("2d").drawImage(whole, ...from, ...sizes, 0, 0, canvas.width, canvas.height);
  }
}
