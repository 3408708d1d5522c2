// What has been rendered, and what is asked for next: one thing at a time, the most wanted first.

import { pixels, query, Refused } from "./api.js";

const MOST_BYTES = 700e6;

export class Renders {
  /** wants(): what is wanted, the most wanted first; answered(key), arrived(key): it has been made, and is there. */
  constructor({ wants, answered, arrived }) {
    Object.assign(this, { wants, answered, arrived, held: new Map(), failed: new Map(), bytes: 0, asked: null, coming: new Map(), isHushed: false });
  }

  get(key) {
    const found = this.held.get(key);
    if (found) { this.held.delete(key); this.held.set(key, found); } // the newest stand last
    return found;
  }

  has(key) { return this.held.has(key); }

  problem(key) { return this.failed.get(key); }

  clear(keeps = () => false) {
    for (const [key, one] of this.held) {
      if (!keeps(key)) { this.held.delete(key); this.bytes -= one.data.byteLength; }
    }
    this.failed.clear();
    for (const one of [this.asked, ...this.coming.values()]) if (one && !keeps(one.key)) one.abort.abort();
  }

  /** Ask for what is wanted most; what is under way and can wait, or is no longer wanted, is given up. */
  pump() {
    const wanted = this.wants();
    const next = wanted.find((one) => !this.held.has(one.key) && !this.failed.has(one.key) && !this.coming.has(one.key));
    if (this.asked) {
      // What is looked at now does not wait for what may be looked at later.
      const isBehind = next && next.isUrgent && next.key !== this.asked.key;
      if (!isBehind && wanted.some((one) => one.key === this.asked.key)) return;
      this.asked.abort.abort();
      this.asked = null;
      this.isHushed = false;
    }
    if (next) this.fetch(next, new Set(wanted.map((one) => one.key)));
  }

  /** Give up what is under way; what is wanted then is asked for by the next pump. */
  hush() {
    if (!this.asked) return;
    this.isHushed = true;
    this.asked.abort.abort();
  }

  async fetch(next, wanted) {
    const one = { key: next.key, abort: new AbortController() };
    this.asked = one;
    let isLost = false;
    const answered = () => {
      this.coming.set(one.key, one);
      this.answered(one.key);
      this.free(one);
    };
    try {
      // While its answer comes in, the program works on the next one; but what is waited for comes in alone, and sooner.
      const found = await pixels(`${next.path}?${query(next.values)}`, one.abort.signal, next.isUrgent ? () => {} : answered);
      if (!one.abort.signal.aborted) this.hold(next.key, found, wanted);
      if (next.isUrgent && !one.abort.signal.aborted) answered();
    } catch (error) {
      if (error instanceof Refused) this.failed.set(next.key, error.message);
      else isLost = error.name !== "AbortError";
    }
    if (this.coming.get(one.key) === one) this.coming.delete(one.key);
    this.arrived(next.key);
    if (this.asked === one) this.free(one, isLost);
    else if (!this.asked && !isLost && !one.abort.signal.aborted) this.pump();
  }

  /** Ask for the next one, unless the program is gone or is about to be told something. */
  free(one, isLost = false) {
    if (this.asked !== one) return;
    this.asked = null;
    const isHushed = this.isHushed;
    this.isHushed = false;
    if (!isLost && !isHushed) this.pump(); // else once it is back, or has been told
  }

  hold(key, found, wanted) {
    this.held.set(key, found);
    this.bytes += found.data.byteLength;
    for (const [old, one] of this.held) {
      if (this.bytes <= MOST_BYTES) break;
      if (wanted.has(old)) continue;
      this.held.delete(old);
      this.bytes -= one.data.byteLength;
    }
  }
}
