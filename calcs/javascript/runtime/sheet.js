/** The sheet that a calculation is worked on: values by name, lines of working, cautions. As calcs.working. */

class Sheet {
  constructor(definition, values) {
    this.definition = definition;
    this.values = values;
    this.working = [];
    this.cautions = [];
    this.inScope = true;
  }

  has(name) {
    return Object.hasOwn(this.values, name);
  }

  described(name) {
    const { outputs, between, inputs } = this.definition;
    return [...outputs, ...between, ...inputs].find((one) => one.name === name);
  }

  symbol(name) {
    return this.described(name)?.symbol ?? (this.described(name) ? "" : name);
  }

  unit(name) {
    return this.described(name)?.unit ?? "";
  }

  value(name) {
    return this.has(name) ? this.values[name] : null;
  }

  argument(name) {
    if (this.has(name)) return this.values[name];
    if (name.startsWith("expanded_")) return $expanded(this.value(name.slice(9))) ?? 0;
    return null;
  }

  /** The result of a formula; undefined when it needs a value that is not there. */
  call(formula, plain = false) {
    if (formula.needed.some((name) => this.argument(name) === null)) return undefined;
    const given = formula.names.map((name) => this.argument(name));
    return formula.call(...(plain ? given.map($nominal) : given));
  }

  judge(formula) {
    return this.call(formula, true);
  }

  holds(formula) {
    return formula === undefined || $true(this.judge(formula));
  }

  shown(name, withUncertainty = false) {
    const [value, spec] = [this.value(name), this.described(name)];
    if (spec?.kind === "pairs" && value?.length) {
      const shown = (one, unit) => $show(one, unit ?? "");
      return value.map(([one, two]) => `${shown(one, spec.unit)} : ${shown(two, spec.second_unit)}`).join(", ");
    }
    return $show(value, this.unit(name), withUncertainty, isCount(spec));
  }

  filled(message) {
    return message.replace(/\{(\w+)\}/g, (all, name) => this.shown(name));
  }

  write(formula, substituted, result) {
    this.working.push({ formula, substituted, result, mathml: mathml(formula) });
  }
}

const isCount = (spec) => Boolean(spec && (spec.whole || spec.kind === "count" || spec.kind === "choice"));
