// From what is kept: sheets, boards, pictures and lists, as files beside the scene.

import { said, told } from "./api.js";
import { find, made, say } from "./parts.js";

const NAMES = {
  sheet: "sheet of this still", board: "board for the client",
  pictures: "pictures of all stills, and their contact sheet", list: "list for the rental counter",
};
const ASK_MS = 700, MOST_SHOWN = 8;

export class HandOut {
  constructor({ number }) {
    Object.assign(this, { number, buttons: [], timer: 0 });
  }

  layOut(state) {
    this.buttons = state.makes.map((name) => {
      const button = made("button", NAMES[name], { type: "button", "data-make": name });
      button.addEventListener("click", () => this.make(name));
      return button;
    });
    find("makes").replaceChildren(...this.buttons);
    if (state.makes.length) this.ask();
    find("shared").hidden = !state.share;
    if (state.share) {
      find("share-address").textContent = state.share;
      find("share-code").src = "share.svg";
    }
  }

  update(state) {
    this.hasKept = state.kept.length > 0;
    this.enable();
    find("no-makes").hidden = this.hasKept;
  }

  enable() {
    for (const button of this.buttons) button.disabled = !this.hasKept || Boolean(this.isWorking);
  }

  async make(name) {
    try { this.take(await told("make", { name, still: this.number() })); } catch (error) { say(error.message); }
  }

  async ask() {
    try { this.take(await said("made")); } catch { /* the program is gone, which is said */ }
  }

  take({ made: jobs }) {
    this.isWorking = jobs.some((one) => one.state === "working");
    this.enable();
    find("made").replaceChildren(...jobs.toReversed().map((job) => this.item(job)));
    clearTimeout(this.timer);
    if (this.isWorking) this.timer = setTimeout(() => this.ask(), ASK_MS);
  }

  item(job) {
    const item = made("li", "", { "data-state": job.state });
    const words = { working: "being made ...", done: "made", failed: "not made" }[job.state];
    item.append(made("strong", `${NAMES[job.name]}: ${words}`));
    if (job.said) item.append(made("span", job.said, { class: "problem" }));
    if (job.state === "done") item.append(made("span", `in ${job.place}`));
    for (const [number, name] of job.files.slice(0, MOST_SHOWN).entries()) {
      const link = made("a", name, { href: `made/${job.number}/${number}`, download: "" });
      item.append(link);
    }
    if (job.files.length > MOST_SHOWN) item.append(made("span", `and ${job.files.length - MOST_SHOWN} more there`));
    item.append(made("code", job.command, { tabindex: "0" }));
    return item;
  }
}
