// Small things that several parts of the page need.

export const find = (name) => document.getElementById(name);

/** An element with its text; what comes from files only ever becomes text. */
export function made(tag, text = "", more = {}) {
  const element = document.createElement(tag);
  if (text) element.textContent = text;
  for (const [name, value] of Object.entries(more)) element.setAttribute(name, value);
  return element;
}

export function painted(canvas, found) {
  Object.assign(canvas, { width: found.width, height: found.height });
  const codes = new Uint8ClampedArray(found.data);
  canvas.getContext("2d").putImageData(new ImageData(codes, found.width, found.height), 0, 0);
}

export const TRADE = new Map([[0.125, "1/8"], [0.25, "1/4"], [0.5, "1/2"]]);
export const strengthText = (strength) => TRADE.get(strength) || String(strength);

/** A strength as it is typed: 1/4, 0.3, 0,3 or ¼; null if it is none. */
export function strengthFrom(text) {
  const plain = text.trim().replace(",", ".").replace("⅛", "1/8").replace("¼", "1/4").replace("½", "1/2");
  const [, over, under] = plain.match(/^(\d+(?:\.\d+)?)(?:\s*\/\s*(\d+))?$/) || [];
  const number = over === undefined ? NaN : Number(over) / Number(under || 1);
  return number >= 0 && number <= 64 ? Math.round(number * 1e4) / 1e4 : null;
}

let hush = 0;
export function say(text) {
  find("said").textContent = text;
  clearTimeout(hush);
  hush = setTimeout(() => { find("said").textContent = ""; }, 8000);
}
