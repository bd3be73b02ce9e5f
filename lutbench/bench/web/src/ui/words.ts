/** Numbers as text for people. */

/** A typographic minus; no sign on zero. */
export function signed(value: number, digits: number): string {
  const text = value.toFixed(digits);
  if (Number(text) === 0) return (0).toFixed(digits);
  return value > 0 ? `+${text}` : text.replace("-", "−");
}

export function stopsWords(stops: number | null, digits = 1): string {
  if (stops === null || !Number.isFinite(stops)) return "no light";
  return `${signed(stops, digits)} ${Math.abs(Number(stops.toFixed(digits))) === 1 ? "stop" : "stops"}`;
}

export function percentWords(percent: number): string {
  return `${percent.toFixed(1)} %`;
}

/** A number stays on one line with its sign or its unit. */
export function unbroken(text: string): string {
  return text.replace(/(\d) (?=%|stops?\b|codes?\b|cd\/m²|bit\b)/g, "$1\u00a0");
}

/** A label of the levels table. */
export function labelWords(label: string): string {
  return label.replace(/^-/, "−");
}
