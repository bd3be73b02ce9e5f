/** A fault that whoever uses the page can mend: one line, what and what would be accepted. */
export class BenchError extends Error {
  constructor(what: string, where = "", accepted = "") {
    const text = where ? `${where}: ${what}` : what;
    super((accepted ? `${text}; accepted: ${accepted}` : text).split(/\s+/).join(" ").trim());
  }
}

/** What to tell of anything that was thrown. */
export function messageOf(thrown: unknown): string {
  return thrown instanceof Error ? thrown.message : String(thrown);
}
