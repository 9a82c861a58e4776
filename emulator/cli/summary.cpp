#include "emulator/cli/summary.hpp"

#include <fmt/core.h>

#include <iterator>

#include "emulator/judge/wording.hpp"

namespace stillrotor {

std::string summary(const Judgement& judgement, const RunOutcome& outcome,
                    const std::filesystem::path& folder) {
  std::string text = "\n";
  const auto line = [&text]<class... T>(fmt::format_string<T...> format, T&&... values) {
    fmt::format_to(std::back_inserter(text), format, std::forward<T>(values)...);
    text += '\n';
  };
  for (const JudgedLimit& judged : judgement.limits) {
    const std::string& phase = judged.limit.signal;
    line("  {:<8} {}{}", name(judged.verdict), phase.empty() ? "" : phase + ": ", judged.reason);
    if (!judged.limit.because.empty()) line("  {:<8}   because {}", "", judged.limit.because);
  }
  if (judgement.verdict == Verdict::NONE) {
    for (const auto& [info, measured] : judgement.overview) {
      if (measured.undefined.empty())
        line("  {:<28} {}", info->name, quantity_text(measured.value, info->unit, 4));
    }
  }
  const double model_s = static_cast<double>(outcome.end_ps) / 1e12;
  line("\n{}: {}", name(judgement.verdict), judgement.reason);
  line("{:g} s run in {:.2f} s, {:.1f} x real time. Record and result: {}", model_s, outcome.wall_s,
       outcome.wall_s > 0.0 ? model_s / outcome.wall_s : 0.0, folder.string());
  line(
      "How well the bench file fits a real machine comes on top of these uncertainties. A verdict "
      "on a "
      "computed machine is no safety function and no leave to energise a real one: local codes and "
      "licensed practice decide.");
  return text;
}

int exit_status(Verdict verdict) noexcept {
  switch (verdict) {
    case Verdict::PASS:
    case Verdict::NONE:
      return 0;
    case Verdict::FAIL:
      return 1;
    case Verdict::INVALID:
      return 3;
  }
  return 3;
}

}  // namespace stillrotor
