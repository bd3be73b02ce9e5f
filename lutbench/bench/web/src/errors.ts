/** Control characters, separators of lines, marks of direction: lutbench/plaintext.py has the same. */
// eslint-disable-next-line no-control-regex
const STEERING = /[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]/g;

/** Text from outside with a sign in place of each character that steers what stands around it. */
export function harmless(text: string): string {
  return text.replace(STEERING, "\ufffd");
}

/** A fault that whoever uses the page can mend: one line, what and what would be accepted. */
export class BenchError extends Error {
  constructor(what: string, where = "", accepted = "") {
    const text = where ? `${where}: ${what}` : what;
    super(harmless(accepted ? `${text}; accepted: ${accepted}` : text).split(/\s+/).join(" ").trim());
  }
}

/** What to tell of anything that was thrown. */
export function messageOf(thrown: unknown): string {
  return thrown instanceof Error ? thrown.message : String(thrown);
}
