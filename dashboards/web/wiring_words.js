// What the set-up says of registers and units of measure.
export const QUANTITIES = [
  ["voltage", "Voltage", ["V", "mV", "uV", "kV"]], ["current", "Current", ["A", "mA", "uA"]], ["power", "Power", ["W", "mW", "kW", "V.A"]], ["temperature", "Temperature", ["Cel"]],
  ["frequency", "Frequency", ["Hz", "kHz"]], ["resistance", "Resistance", ["Ohm", "mOhm", "kOhm", "MOhm"]], ["speed", "Speed", ["{rpm}", "Hz", "%"]], ["ratio", "Ratio", ["1", "%", "dB"]],
  ["energy", "Energy", ["W.h", "kW.h", "J", "kJ"]], ["state", "State", ["1"]],
];

/** A number as it came, without digits that nobody measured. */
export function plain_number(value) {
  if (!Number.isFinite(value)) return "\u2013";
  return (Number.isInteger(value) ? String(value) : String(Number(value.toPrecision(6)))).replace("-", "\u2212");
}

export const type_words = ({ type, order }) => (["int16", "uint16", "bit"].includes(type) ? type : `${type} ${order}`);

/** "6.31 (int16 \u00d7 0.001)". */
export const way_words = (way) => `${plain_number(way.value)} (${type_words(way)}${way.scale === 1 ? "" : ` \u00d7 ${plain_number(way.scale)}`})`;

const EXCEPTIONS = { 1: "does not know this question", 2: "has no such register", 3: "refuses so many", 4: "says that it has failed", 6: "is busy", 10: "has no way to that device (a gateway)", 11: "got no answer from that device (a gateway)" };
export const exception_words = (code) => EXCEPTIONS[code] ?? `refuses (exception ${code})`;

/** A file for the meter whose channels were found one by one. */
export const instrument_text = (title, channels) => `# Found by looking at its registers beside another meter. Compare each line with the module\u2019s manual before it guards anything.
[instrument]
title = "${title}"
protocol = "modbus"
source = "found by reading its registers beside another meter"

${channels.join("\n")}`;

export const bus_text = (search, instrument) => `[[bus]]
name = "found"
${search.place_lines}timeout_seconds = 0.5
[[bus.meter]]
name = "module_1"
instrument = "${instrument}"
address = ${search.address}
poll_seconds = 1.0
`;
