#include "emulator/judge/judge.hpp"

#include <algorithm>

#include "emulator/judge/measure_rows.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

/// "41.2 A +- 0.1 A"
std::string value_text(const Measurement& measured, std::string_view unit) {
  std::string text = quantity_text(measured.value, unit);
  if (measured.at_least) text = "at least " + text;
  if (measured.uncertainty > 0.0) {
    text += " +- " + quantity_text(measured.uncertainty, unit, 2);
  }
  return text;
}

std::string window_text(const Measurement& measured) {
  return " (" + quantity_text(measured.from_s, "s") + " to " + quantity_text(measured.to_s, "s") +
         ")";
}

std::string allowed_text(const Limit& limit, std::string_view unit) {
  if (limit.min && limit.max) {
    return quantity_text(*limit.min, unit) + " to " + quantity_text(*limit.max, unit);
  }
  if (limit.min) return "at least " + quantity_text(*limit.min, unit);
  return "at most " + quantity_text(*limit.max, unit);
}

/// By how much the value misses the limit.
std::string excess_text(const Limit& limit, const Measurement& measured, std::string_view unit) {
  const bool above = limit.max && measured.value > *limit.max;
  const double by = above ? measured.value - *limit.max : *limit.min - measured.value;
  return quantity_text(by, unit, 3) + (above ? " too much" : " too little");
}

/// Where [value - uncertainty, value + uncertainty] lies; at_least opens its upper end.
Verdict compare(const Limit& limit, const Measurement& measured) {
  const double low = measured.value - measured.uncertainty;
  const double high = measured.value + measured.uncertainty;
  const bool open = measured.at_least;
  if ((limit.max && low > *limit.max) || (!open && limit.min && high < *limit.min)) {
    return Verdict::FAIL;
  }
  const bool below_max = !limit.max || (!open && high <= *limit.max);
  const bool above_min = !limit.min || low >= *limit.min;
  return below_max && above_min ? Verdict::PASS : Verdict::INVALID;
}

const RecordedMark* gap_in(const RecordReader& record, const Measurement& measured) {
  for (const RecordedMark& mark : record.marks()) {
    if (mark.kind == MarkKind::gap && static_cast<double>(mark.at_ps) * 1e-12 <= measured.to_s &&
        static_cast<double>(mark.to_ps) * 1e-12 >= measured.from_s) {
      return &mark;
    }
  }
  return nullptr;
}

std::string gap_text(const RecordedMark& gap) {
  return "the record is not to be trusted from " +
         quantity_text(static_cast<double>(gap.at_ps) * 1e-12, "s") + " to " +
         quantity_text(static_cast<double>(gap.to_ps) * 1e-12, "s") + ": " + gap.name +
         (gap.detail.empty() ? "" : " " + gap.detail);
}

/// The run was meant to last longer, and this window with it.
bool ended_early(const RecordReader& record, const Scenario& scenario, const Limit& limit) {
  const double lasts_s = static_cast<double>(scenario.lasts_ps) * 1e-12;
  return limit.window.to_s < 0.0 && record.end_s() < lasts_s - 1e-9;
}

JudgedLimit judge_limit(Evidence& evidence, const Scenario& scenario, const Limit& limit) {
  const RecordReader& record = evidence.record();
  JudgedLimit judged;
  judged.limit = limit;
  const bool in_turns = limit.measure == "time_to_gates_off" && limit.unit == electrical_turns;
  const std::string_view name = in_turns ? "turns_to_gates_off" : std::string_view(limit.measure);
  const MeasureRow* row = find_measure(name);
  judged.unit = row != nullptr ? row->info.unit : std::string_view();
  if (judged.unit.empty()) judged.unit = limit.unit;
  judged.measured = measure(evidence, name, limit.signal, limit.window, limit.argument);
  const std::string what = limit.measure +
                           (limit.signal.empty() ? "" : " of phase " + limit.signal) +
                           (limit.argument.empty() ? "" : " (" + limit.argument + ")");
  if (judged.measured.undefined.empty() && ended_early(record, scenario, limit)) {
    judged.measured.undefined = "the run ended at " + quantity_text(record.end_s(), "s") + " of " +
                                quantity_text(static_cast<double>(scenario.lasts_ps) * 1e-12, "s") +
                                ", and the window reaches to its end";
  }
  const bool has_window = judged.measured.to_s > judged.measured.from_s;
  const RecordedMark* gap = has_window ? gap_in(record, judged.measured) : nullptr;
  if (!judged.measured.undefined.empty()) {
    // Points that are missing may be why.
    judged.reason = what + " could not be measured: " + judged.measured.undefined +
                    (gap != nullptr ? "; " + gap_text(*gap) : "") + ".";
    return judged;
  }
  if (gap != nullptr) {
    judged.reason = what + " cannot be judged: " + gap_text(*gap) + ".";
    return judged;
  }
  judged.verdict = compare(limit, judged.measured);
  judged.reason = what + " was " + value_text(judged.measured, judged.unit) +
                  window_text(judged.measured) + ", allowed " + allowed_text(limit, judged.unit);
  if (judged.verdict == Verdict::FAIL) {
    judged.reason += ": " + excess_text(limit, judged.measured, judged.unit);
    if (!limit.because.empty()) judged.reason += "; " + limit.because;
  } else if (judged.verdict == Verdict::INVALID) {
    judged.reason += judged.measured.at_least
                         ? ": the window is too short to tell"
                         : ": the limit lies within the uncertainty of the measurement";
  }
  judged.reason += ".";
  return judged;
}

JudgedLimit judge_controller(const RecordReader& record) {
  JudgedLimit judged;
  judged.limit.measure = "controller_alive";
  judged.limit.min = 1.0;
  judged.limit.unit = judged.unit = "1";
  judged.measured.to_s = record.end_s();
  for (const RecordedMark& mark : record.marks()) {
    if (mark.kind != MarkKind::event || !(mark.name.starts_with("controller crashed") ||
                                          mark.name.starts_with("controller hung"))) {
      continue;
    }
    judged.verdict = Verdict::FAIL;
    judged.reason = "The " + mark.name + " at " +
                    quantity_text(static_cast<double>(mark.at_ps) * 1e-12, "s") +
                    (mark.detail.empty() ? "" : ": " + mark.detail);
    if (!judged.reason.ends_with('.')) judged.reason += '.';
    return judged;
  }
  judged.measured.value = 1.0;
  if (!record.finished()) {
    judged.measured.undefined = "the record was cut short at " + quantity_text(record.end_s(), "s");
    judged.reason = "controller_alive could not be measured: " + judged.measured.undefined + ".";
    return judged;
  }
  judged.verdict = Verdict::PASS;
  judged.reason = "The controller ran until the end.";
  return judged;
}

void conclude(Judgement& judgement, bool has_limits) {
  const auto count = [&](Verdict wanted) {
    return std::count_if(judgement.limits.begin(), judgement.limits.end(),
                         [&](const JudgedLimit& limit) { return limit.verdict == wanted; });
  };
  const auto decide = [&](Verdict verdict, std::string_view how) {
    judgement.verdict = verdict;
    const auto first =
        std::find_if(judgement.limits.begin(), judgement.limits.end(),
                     [&](const JudgedLimit& limit) { return limit.verdict == verdict; });
    judgement.reason = std::to_string(count(verdict)) + " of " +
                       std::to_string(judgement.limits.size()) + " limits " + std::string(how) +
                       ": " + first->reason;
  };
  if (count(Verdict::FAIL) > 0) {
    decide(Verdict::FAIL, count(Verdict::FAIL) == 1 ? "does not hold" : "do not hold");
  } else if (!has_limits) {
    judgement.verdict = Verdict::NONE;
    judgement.reason = "The scenario sets no limits, so there is nothing to judge.";
  } else if (count(Verdict::INVALID) > 0) {
    decide(Verdict::INVALID, "could not be judged");
  } else {
    judgement.verdict = Verdict::PASS;
    judgement.reason =
        "All " + std::to_string(judgement.limits.size()) +
        " limits hold, with their uncertainties; the controller's being alive is one of them.";
  }
}

}  // namespace

std::string_view name(Verdict verdict) noexcept {
  constexpr std::string_view names[] = {"PASS", "FAIL", "INVALID", "NONE"};
  return names[static_cast<std::size_t>(verdict)];
}

Judgement judge(const RecordReader& record, const Scenario& scenario) {
  Judgement judgement;
  Evidence evidence(record);
  for (const Limit& limit : scenario.expect) {
    judgement.limits.push_back(judge_limit(evidence, scenario, limit));
  }
  judgement.limits.push_back(judge_controller(record));
  for (const MeasureInfo& info : measure_table()) {
    if (needs_window_only(info.asks))
      judgement.overview.emplace_back(&info, measure(evidence, info.name, "", Window{}));
  }
  conclude(judgement, !scenario.expect.empty());
  return judgement;
}

}  // namespace stillrotor
