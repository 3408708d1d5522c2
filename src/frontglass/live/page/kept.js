// The list of what is kept: pictures, words, and the command that makes each.

import { told } from "./api.js";
import { find, made, painted, say } from "./parts.js";

export class Kept {
  constructor({ renders, show, changed }) {
    Object.assign(this, { renders, show, changed, list: [], editing: null });
  }

  /** Take over what the program says is kept. */
  update(state) {
    this.list = state.kept;
    find("where").textContent = state.problem || `in ${state.file}`;
    if (!this.editing) this.draw();
  }

  wants(still) {
    return this.list.map((choice) => {
      const on = choice.on.length ? (choice.on.includes(still.number) ? still.number : choice.on[0]) : still.number;
      const light = on === still.number ? still.light : "";
      choice.key = `small|${on}|${light}|${choice.looks.join("+")}`;
      return { key: choice.key, path: `still/${on}/small`, values: { look: choice.looks } };
    });
  }

  draw() {
    const list = find("kept");
    list.replaceChildren(...this.list.map((choice) => this.item(choice)));
    if (!this.list.length) list.append(made("li", "Nothing yet. K keeps what is on the screen."));
    this.paint();
  }

  paint() {
    [...find("kept").children].forEach((item, number) => {
      const choice = this.list[number];
      const found = choice && this.renders.get(choice.key);
      const canvas = item.querySelector("canvas");
      if (found && canvas.dataset.key !== choice.key) {
        canvas.dataset.key = choice.key;
        painted(canvas, found);
      }
    });
  }

  item(choice) {
    const item = made("li");
    const words = choice.looks.map((one) => one.replace(":", " ")).join(", then ");
    const canvas = made("canvas", "", { role: "img", "aria-label": `Small picture through ${words}` });
    if (choice.looks.length <= 2) {
      const button = made("button", "", { type: "button", class: "show", "aria-label": `Show ${words}` });
      button.append(canvas);
      button.addEventListener("click", () => this.show(choice));
      item.append(button);
    } else {
      item.append(canvas);
    }
    item.append(made("strong", choice.name || words));
    if (choice.name) item.append(made("span", words));
    if (choice.why) item.append(made("span", choice.why));
    const whom = choice.on.length ? `for ${choice.stills.join(", ")}` : "for all stills";
    item.append(made("span", whom + (choice.hearts ? `, ${"♥".repeat(Math.min(choice.hearts, 5))}` : "")));
    item.append(made("code", choice.command, { tabindex: "0" }), this.row(choice, item, words));
    return item;
  }

  row(choice, item, words) {
    const row = made("div", "", { class: "row" });
    const add = (text, act) => {
      const button = made("button", text, { type: "button", "aria-label": `${text}: ${choice.name || words}` });
      button.addEventListener("click", act);
      row.append(button);
    };
    add("copy", async () => {
      try {
        await navigator.clipboard.writeText(choice.command);
        say("The command is on the clipboard.");
      } catch {
        getSelection().selectAllChildren(item.querySelector("code"));
        say("The command is marked: copy it.");
      }
    });
    const at = this.list.indexOf(choice);
    if (at > 0) add("up", () => this.send("move", choice, { by: -1 }));
    if (at < this.list.length - 1) add("down", () => this.send("move", choice, { by: 1 }));
    add("rename", () => this.edit(choice, item));
    add("remove", () => this.send("remove", choice, {}));
    return row;
  }

  edit(choice, item) {
    const form = made("form");
    const fields = ["name", "why"].map((name) => {
      const label = made("label", name);
      const input = made("input", "", { maxlength: "500", autocomplete: "off" });
      input.value = choice[name];
      label.append(input);
      form.append(label);
      return input;
    });
    const done = made("button", "save", { type: "submit" });
    const leave = made("button", "leave it", { type: "button" });
    form.append(done, leave);
    this.editing = form;
    const end = () => { this.editing = null; this.draw(); };
    leave.addEventListener("click", end);
    form.addEventListener("keydown", (event) => { if (event.key === "Escape") end(); });
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const [name, why] = fields.map((one) => one.value);
      if (await this.send("rename", choice, { name, why })) end();
    });
    item.querySelector(".row").replaceWith(form);
    fields[0].focus();
  }

  /** Change the list where it is kept; what is typed stays on the screen if that fails. */
  async send(what, choice, more) {
    try {
      this.changed(await told(what, { looks: choice.looks, stills: choice.stills, ...more }));
      return true;
    } catch (error) {
      say(error.message === "Failed to fetch" ? "The program is gone: nothing was changed." : error.message);
      return false;
    }
  }
}
