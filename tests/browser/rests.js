// Runs in every page before its own scripts: tells whether all that was asked of the server is answered.
// Streamlit's own mark of a running script (data-test-script-state) comes only with the server's first answer:
// between a click and that answer the page looks at rest, and what is clicked then may get lost.
(() => {
  const RERUN = 0x5a, NEW_SESSION = 0x22, FINISHED = 0x30; // first bytes of protobuf fields 11; 4 and 6
  const BEFORE = [0x0a, 0x12]; // fields 1 and 2, hash and metadata, may stand before them
  const FOR_RERUN = 2; // finished early, since another run follows
  const walk = (window.walk = { asked: 0, begun: 0, answered: 0 });

  function kind(bytes) {
    let at = 0;
    while (BEFORE.includes(bytes[at])) {
      let length = 0, shift = 0;
      do {
        at += 1;
        length += (bytes[at] & 127) << shift;
        shift += 7;
      } while (bytes[at] & 128);
      at += 1 + length;
    }
    return [bytes[at], bytes[at + 1]];
  }

  function heard({ data }) {
    if (!(data instanceof ArrayBuffer)) return;
    const [tag, value] = kind(new Uint8Array(data));
    if (tag === NEW_SESSION) walk.begun = walk.asked;
    if (tag === FINISHED && value !== FOR_RERUN) {
      const begun = walk.begun;
      // what came with it is drawn by then
      requestAnimationFrame(() => requestAnimationFrame(() => { walk.answered = begun; }));
    }
  }

  window.WebSocket = class extends WebSocket {
    constructor(...given) {
      super(...given);
      if (/\/_stcore\/stream$/.test(new URL(this.url).pathname)) {
        this.ofPage = true;
        this.addEventListener("message", heard);
      }
    }
    send(data) {
      if (this.ofPage && new Uint8Array(data.buffer ?? data, data.byteOffset ?? 0)[0] === RERUN) walk.asked += 1;
      return super.send(data);
    }
  };

  walk.rests = () => {
    const app = document.querySelector("[data-testid=stApp]");
    const { testConnectionState, testScriptState } = app?.dataset ?? {};
    return testConnectionState === "CONNECTED" && testScriptState === "notRunning" && walk.answered === walk.asked
      && !app.querySelector("[data-testid=stSkeleton]"); // stands where the program of an element is still loaded
  };
})();
