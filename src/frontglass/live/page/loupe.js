// The loupe: pixels of the full still, one by one on the screen.

import { find, painted } from "./parts.js";

const STEP = 0.02;

export class Loupe {
  constructor({ moved }) {
    Object.assign(this, { moved, isShown: false, zoom: 1, x: 0.5, y: 0.5, drawn: "" });
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

  /** From off to 1:1, to 4:1, to off. */
  next() {
    if (this.isShown && this.zoom === 1) { this.zoom = 4; this.drawn = ""; this.move(0, 0); }
    else { this.zoom = 1; this.show(!this.isShown); }
    find("zoom").textContent = `${this.zoom}:1`;
  }

  show(isShown) {
    this.isShown = isShown;
    this.drawn = "";
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
    else if (this.drawn !== this.key) this.drawTile(found);
    this.drawn = found ? this.key : "";
  }

  /** Pixels of the full still, each one or four by four on the screen. */
  drawTile(found) {
    if (this.zoom === 1) { painted(this.canvas, found); return; }
    const tile = document.createElement("canvas");
    painted(tile, found);
    const { canvas, zoom } = this;
    Object.assign(canvas, { width: 320, height: 320 });
    // At the rim of the still the tile stands aside of the place.
    const from = [[this.x, this.full[0], found.width], [this.y, this.full[1], found.height]].map(([place, whole, size]) => {
      const corner = Math.max(0, Math.min(Math.round(place * whole - size / 2), whole - size));
      return Math.round(Math.min(Math.max(0, place * whole - corner - 160 / zoom), Math.max(0, size - 320 / zoom)));
    });
    const context = canvas.getContext("2d");
    context.imageSmoothingEnabled = false;
    context.drawImage(tile, ...from, 320 / zoom, 320 / zoom, 0, 0, 320, 320);
  }

  /** The same place of the large picture, until the full still is there. */
  drawLate() {
    const { canvas } = this, whole = find("picture");
    const share = whole.width / this.full[0] / this.zoom;
    const sizes = [canvas.width * share, canvas.height * share];
    const from = [this.x * whole.width, this.y * whole.height].map((place, k) => {
      const most = [whole.width, whole.height][k] - sizes[k];
      return Math.min(Math.max(0, place - sizes[k] / 2), Math.max(0, most));
    });
    canvas.getContext("2d").drawImage(whole, ...from, ...sizes, 0, 0, canvas.width, canvas.height);
  }
}
