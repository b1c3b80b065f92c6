/** The pixels of a Pico's display, row by row, 0 or 255. */
export function pixels(pico) {
  const out = Buffer.alloc(128 * 64);
  for (let y = 0; y < 64; y++)
    for (let x = 0; x < 128; x++)
      out[y * 128 + x] = (pico.display.memory[(y >> 3) * 128 + x] >> (y & 7)) & 1 ? 255 : 0;
  return out;
}
