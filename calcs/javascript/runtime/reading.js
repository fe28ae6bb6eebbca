/** Where the numbers of a reading come from. As commissioning/services/reading_inputs.py. */

const sentence = (words) => words.slice(0, 1).toUpperCase() + words.slice(1) + (words.endsWith(".") ? "" : ".");

const wordsOf = (instrument) => instrument.words ?? `${instrument.description} ${instrument.serial}`;

function gather({ definition, typed, inputs, nameplate, instruments, at, zone }) {
  const found = { numbers: {}, kept: [], problems: {}, degrees: 0, at, zone };
  takeAmbient(found, said(typed, "ambient"));
  for (const one of definition.inputs) {
    const spec = own(inputs, one.name) ??
      { kind: one.measured ? "measured" : "typed", unit: one.unit ?? "", optional: !one.required };
    try {
      gatherOne(found, one, spec, { typed, nameplate, instruments });
    } catch (error) {
      if (!(error instanceof InputError)) throw error;
      found.problems[one.name] = sentence(error.message);
    }
  }
  return found;
}

const said = (typed, name) => stripped(String(own(typed, name) ?? ""));

function takeAmbient(found, text) {
  if (!text) return;
  let value;
  try {
    value = $parse(text, "°C", "ambient").value;
  } catch (error) {
    if (!(error instanceof InputError)) throw error;
    found.problems.ambient = sentence(error.message);
    return;
  }
  if (!(-40 <= value && value <= 70)) {
    found.problems.ambient = `${text} is no temperature to measure in. Type it in °C.`;
    return;
  }
  found.degrees = Math.max(18 - value, value - 28, 0);
  found.kept.push({
    name: "ambient", label: "temperature at the instrument", typed: text, value, unit: "°C",
    expanded_uncertainty: null, source: "ambient",
  });
}

/** Source, text and unit of an input: fixed by the line, from the nameplate, or as typed. */
function origin(one, spec, { typed, nameplate }) {
  const unit = spec.unit || one.unit || "";
  if (spec.kind === "value") return ["value", String(spec.value), unit];
  if (spec.kind !== "nameplate") return [spec.kind, said(typed, one.name), unit];
  const plate = own(nameplate, one.name) ?? null;
  if (plate === null) return ["typed", said(typed, one.name), unit];
  const known = typeof plate === "object" ? plate : { value: plate };
  return ["nameplate", String(known.value), known.unit ?? unit];
}

function gatherOne(found, one, spec, given) {
  if (spec.kind === "recording" || one.kind === "table") {
    throw new Later("It needs a recording, which the server reads; the server will verify this.");
  }
  const [source, text, unit] = origin(one, spec, given);
  if (!text) {
    const label = spec.label || one.help || one.name;
    if (!spec.optional) found.problems[one.name] = `Type ${label}${unit ? `, in ${unit}.` : "."}`;
    return;
  }
  const entry = { name: one.name, label: spec.label || one.help || "", typed: text, unit, source };
  if (source === "measured") {
    measure(found, one, entry, own(given.instruments, one.name) ?? own(given.instruments, ""));
  } else if ((one.kind ?? "scalar") === "scalar") {
    const { value, expanded_uncertainty } = $parse(text, unit, one.name);
    Object.assign(entry, { value, expanded_uncertainty });
    found.numbers[one.name] = forCalculation(value, expanded_uncertainty, unit, one.unit ?? "");
  } else {
    found.numbers[one.name] = text;
  }
  found.kept.push(entry);
}

function measure(found, one, entry, instrument) {
  const { typed: text, unit } = entry;
  const many = one.kind === "list";
  const quantities = (many ? listed(text) : [text]).map((part) => $parse(part, unit, one.name));
  let spreads = quantities.map((quantity) => quantity.expanded_uncertainty);
  let range = null;
  if (instrument) {
    refuseUnfit(found, one.name, instrument);
    range = chooseRange(instrument.ranges, unit, Math.max(...quantities.map(({ value }) => Math.abs(value))));
    if (range) {
      spreads = spreads.map((u, at) => u ?? uncertaintyOn(range, quantities[at].value, unit, found.degrees));
    } else {
      found.problems[one.name] ??=
        `${wordsOf(instrument)} has no range that shows ${text} ${unit}. Choose another, or add its range.`;
    }
  }
  const values = quantities.map(({ value }) => value);
  const numbers = values.map((value, at) => forCalculation(value, spreads[at], unit, one.unit ?? ""));
  found.numbers[one.name] = many ? numbers : numbers[0];
  Object.assign(entry, {
    value: many ? values : values[0], expanded_uncertainty: many ? spreads : spreads[0],
    instrument: instrument ? String(instrument.id) : null, instrument_words: instrument ? wordsOf(instrument) : "",
    range: range ? String(range.id) : null,
  });
}

function listed(text) {
  if (text.includes(";")) return text.split(";").filter(stripped);
  const commas = text.split(",").length - 1;
  if (text.includes(", ") || commas > 1 || (commas && text.includes("."))) return text.split(",").filter(stripped);
  const words = text.split(new RegExp(`${SPACE}+`, "u")).filter(Boolean);
  const bare = (word) => /^\p{Nd}+$/u.test(word.replace(",", "").replace(".", "").replace(/^[+-]+/, ""));
  return words.every(bare) ? words : [text];
}

function forCalculation(value, spread, unit, wantedUnit) {
  const number = spread ? `${value}+-${spread}` : String(value);
  if (!unit || !wantedUnit || unit === wantedUnit) return number;
  return spread ? `(${number}) ${unit}` : `${number} ${unit}`;
}

const dayOf = (moment, zone) =>
  new Intl.DateTimeFormat("en-CA", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit" })
    .format(new Date(moment));

/** A reading is taken with an instrument that was in use then, and in calibration. */
function refuseUnfit(found, field, instrument) {
  const words = wordsOf(instrument);
  if (instrument.retired_at && new Date(instrument.retired_at) <= new Date(found.at)) {
    const why = instrument.retired_reason ? `: ${instrument.retired_reason.replace(/\.+$/, "")}` : "";
    const day = dayOf(instrument.retired_at, found.zone);
    found.problems[field] = `${words} is no longer in use since ${day}${why}. Measure with another.`;
    return;
  }
  if (!instrument.calibrations) return;
  const day = dayOf(found.at, found.zone);
  if (instrument.calibrations.some((one) => one.from <= day && day <= one.due)) return;
  const due = instrument.calibrations.map((one) => one.due).sort().at(-1);
  const why = due ? `its calibration was due on ${due}` : "no calibration of it is on record";
  found.problems[field] = `${words} was not in calibration then: ${why}. Measure with another.`;
}

function inUnit(value, from, to) {
  if (["°C", "K"].includes(from) && ["°C", "K"].includes(to)) return value;
  try {
    return $parse(`${value} ${from}`, to).value;
  } catch (error) {
    if (error instanceof InputError || error instanceof Later) return null;
    throw error;
  }
}

/** The lowest range whose unit fits and whose end is not below the value. */
function chooseRange(ranges, unit, value) {
  let best = null;
  for (const row of ranges) {
    const end = inUnit(row.upper, row.unit, unit);
    if (end !== null && end >= value && (best === null || end < best[0])) best = [end, row];
  }
  return best && best[1];
}

function uncertaintyOn(row, value, unit, degrees) {
  const scale = inUnit(1, row.unit, unit);
  return scale * f_expanded_uncertainty(
    Math.abs(value) / scale, row.percent_of_reading, row.percent_of_range, row.upper, row.counts, row.resolution,
    row.temperature_coefficient, degrees, null, null, row.calibration_uncertainty,
  );
}
