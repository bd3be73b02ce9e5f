/** A served page follows its folder: on a change it fetches the set again. */

import type { Bench } from "./bench.ts";
import type { BenchData } from "./types.ts";

export function follow(bench: Bench): void {
  const { live } = bench.data;
  if (!live) return;
  const events = new EventSource(live.events);
  events.addEventListener("changed", (event) => {
    void (async () => {
      // Sent on every connection, too; a version that is already here is not fetched.
      const version = event instanceof MessageEvent ? Number(event.data) : -1;
      if (version === bench.data.live?.version && !bench.message) return;
      const answer = await fetch(live.data);
      if (!answer.ok) return;
      const state = bench.state;
      bench.take((await answer.json()) as BenchData);
      const known = bench.shelf(state.lut) ? state.lut : bench.start.lut;
      bench.message = "";
      bench.set({ ...state, lut: known });
    })();
  });
  events.addEventListener("fault", (event) => {
    if (event instanceof MessageEvent) bench.say(String(event.data));
  });
}
