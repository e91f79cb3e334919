// htmx 4, which the pages load before their own scripts: what those scripts use of it.

interface HtmxRequest {
  source: Element | string;
  target: Element | string;
  swap: "innerHTML" | "innerMorph" | "outerMorph";
  values?: Record<string, string | boolean>;
}

declare const htmx: {
  /** Send a request and swap its answer into the target; resolve once that is done. */
  ajax(verb: "GET" | "POST", address: string, request: HtmxRequest): Promise<void>;
};

interface DocumentEventMap {
  "htmx:confirm": CustomEvent<{ issueRequest(): void }>;
  "htmx:error": CustomEvent;
}
