// A spectrum in columns of equal pitch, for a picture.
const COLUMNS = 160, LOW_HZ = 60, HIGH_HZ = 16000;

/**
 * Each column with its strongest bin.
 * @param {ArrayLike<number>} above dB over the noise, by bin
 * @param {number} binHz
 * @returns {Float32Array}
 */
export function columnsOf(above, binHz) {
  const columns = new Float32Array(COLUMNS);
  for (let column = 0; column < COLUMNS; column += 1) {
    const [from, to] = [column, column + 1].map((edge) => (LOW_HZ * (HIGH_HZ / LOW_HZ) ** (edge / COLUMNS)) / binHz);
    for (let bin = Math.floor(from); bin <= to; bin += 1) columns[column] = Math.max(columns[column], above[bin] ?? 0);
  }
  return columns;
}
