// What a browser has and Node 18 lacks; and deflate as the Compression Streams Standard has it: Node up to 22 lets bytes
// behind the end of a stream pass. The browsers' own are tried by the tests of the page itself.
import { webcrypto } from "node:crypto";
import { inflateRawSync } from "node:zlib";

globalThis.crypto ??= webcrypto;

class StrictDecompressionStream {
  constructor(format) {
    if (format !== "deflate-raw") throw new TypeError(`no ${format}`);
    const pieces = [];
    const { readable, writable } = new TransformStream({
      transform: (piece) => void pieces.push(piece),
      flush(controller) {
        const stored = Buffer.concat(pieces);
        const { buffer, engine } = inflateRawSync(stored, { info: true });
        if (engine.bytesWritten !== stored.length) throw new TypeError("bytes behind the end of the stream");
        controller.enqueue(new Uint8Array(buffer));
      },
    });
    Object.assign(this, { readable, writable });
  }
}

globalThis.DecompressionStream = StrictDecompressionStream;
