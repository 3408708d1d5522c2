// Asking the program; every address starts from that of the page, which holds the token.

export class Refused extends Error {}

let lost = false;
const heard = [];

/** Call `listener(isLost)` whenever the program goes or comes back. */
export function onLost(listener) { heard.push(listener); }

function found(isLost) {
  if (isLost === lost) return;
  lost = isLost;
  for (const listener of heard) listener(isLost);
}

async function answer(path, options) {
  let reply;
  try {
    reply = await fetch(path, { cache: "no-store", ...options });
  } catch (error) {
    if (error.name !== "AbortError") found(true);
    throw error;
  }
  found(false);
  const problem = reply.headers.get("x-problem");
  if (problem) throw new Refused(decodeURIComponent(problem));
  if (reply.ok) return reply;
  let said = "The program refused that.";
  try { said = (await reply.json()).problem || said; } catch { /* no more to say */ }
  throw new Refused(said);
}

export async function said(path) { return (await answer(path)).json(); }

const beforeTelling = [];

/** Call `listener()` before the program is told something, which then need not wait for its turn. */
export function onTelling(listener) { beforeTelling.push(listener); }

let tellings = 0;

/** Whether the program is being told something, whose answer says what has changed. */
export const isTelling = () => tellings > 0;

export async function told(path, body) {
  for (const listener of beforeTelling) listener();
  const headers = { "content-type": "application/json" };
  tellings += 1;
  try {
    return await (await answer(path, { method: "POST", headers, body: JSON.stringify(body) })).json();
  } finally { tellings -= 1; }
}

/** Pixels or light, with their size; `answered()` is called once they are made, before they are all there. */
export async function pixels(path, signal, answered = () => {}) {
  const reply = await answer(path, { signal });
  answered();
  const size = ["x-width", "x-height"].map((name) => Number(reply.headers.get(name)));
  return { data: await reply.arrayBuffer(), width: size[0], height: size[1] };
}

export function query(values) {
  const words = new URLSearchParams();
  for (const [name, value] of Object.entries(values)) {
    for (const one of [value].flat()) words.append(name, one);
  }
  return words.toString();
}
