// What the builder packs into the page: base64 of gzip.

/** The bytes in `text`. */
export async function unpacked(text) {
  const packed = atob(text);
  const bytes = new Uint8Array(packed.length);
  for (let i = 0; i < bytes.length; i += 1) bytes[i] = packed.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}
