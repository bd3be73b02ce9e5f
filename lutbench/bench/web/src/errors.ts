/** Control characters, line separators, direction marks: the same as in lutbench/given.py. */
// eslint-disable-next-line no-control-regex
const STEERING = /[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]/g;

/** Text from outside, with each character that affects the text around it replaced. */
export function harmless(text: string): string {
  return text.replace(STEERING, "\ufffd");
}

/** An error that the user can correct, in one line: what is wrong and what would be accepted. */
export class BenchError extends Error {
  constructor(what: string, where = "", accepted = "") {
    const text = where ? `${where}: ${what}` : what;
    super(harmless(accepted ? `${text}; accepted: ${accepted}` : text).split(/\s+/).join(" ").trim());
  }
}

/** The message of anything that was thrown. */
export function messageOf(thrown: unknown): string {
  return thrown instanceof Error ? thrown.message : String(thrown);
}
