// The rest of the light path: what stands before the lens, and how the still is exposed.

import { told } from "./api.js";
import { find, made, say, strengthFrom, strengthText } from "./parts.js";

const FIELDS = ["lens", "stop", "sensor", "filter_distance", "focus", "exposure", "surround", "tilt"];
const SWITCHES = ["coated", "hood"];

export class Path {
  constructor({ changed, top, number }) {
    Object.assign(this, { changed, top, number });
    for (const name of FIELDS) find(`set-${name}`).addEventListener("change", (event) => this.set(name, event.target.value.trim()));
    for (const name of SWITCHES) find(`set-${name}`).addEventListener("change", (event) => this.set(name, event.target.checked ? "on" : ""));
    find("over").addEventListener("change", (event) => top({ over: event.target.value }));
    find("over-strength").addEventListener("change", (event) => {
      const typed = strengthFrom(event.target.value);
      if (typed === null) say(`A strength is a number from 0 to 64, or 1/4; not ${event.target.value}.`);
      else top({ overStrength: typed });
    });
  }

  layOut(state) {
    find("over").replaceChildren(made("option", "nothing", { value: "" }), ...state.looks.map((one) => made("option", one.name, { value: one.name })));
    for (const name of [...FIELDS, ...SWITCHES]) {
      const isFixed = state.fixed.includes(name);
      find(`set-${name}`).disabled = isFixed;
      find(`set-${name}`).title = isFixed ? "Typed when the program was started." : "";
    }
    find("for-all-row").hidden = state.stills.length < 2;
  }

  update(still) {
    const said = still.settings || {};
    for (const name of FIELDS) {
      const field = find(`set-${name}`);
      if (document.activeElement !== field) field.value = said[name] || "";
    }
    for (const name of SWITCHES) find(`set-${name}`).checked = Boolean(said[name]);
    find("camera").textContent = still.camera || "";
  }

  tell(side) {
    find("over").value = side.over || "";
    if (document.activeElement !== find("over-strength")) find("over-strength").value = strengthText(side.overStrength);
    find("over-strength").disabled = !side.over;
  }

  async set(name, text) {
    try {
      this.changed(await told("setting", { still: this.number(), name, text, all: find("for-all").checked }));
    } catch (error) {
      say(error.message);
      this.changed(null);
    }
  }
}
