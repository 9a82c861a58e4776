#include "emulator/judge/junit.hpp"

#include <algorithm>

#include "emulator/handover/markup.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

std::string attribute(const char* name, const std::string& value) {
  return std::string(" ") + name + "=\"" + escaped(value) + "\"";
}

/// Two limits of one measure differ by phase and window.
std::string case_name(const JudgedLimit& judged) {
  std::string name = judged.limit.measure;
  if (!judged.limit.signal.empty()) name += " " + judged.limit.signal;
  return name + ", " + quantity_text(judged.measured.from_s, "s") + " to " +
         quantity_text(judged.measured.to_s, "s");
}

std::string case_xml(const JudgedLimit& judged, const std::string& class_name) {
  const std::string head = "    <testcase" + attribute("classname", class_name) +
                           attribute("name", case_name(judged)) + " time=\"0\"";
  if (judged.verdict == Verdict::PASS) return head + "/>\n";
  const char* kind = judged.verdict == Verdict::FAIL ? "failure" : "error";
  return head + ">\n      <" + kind + attribute("message", judged.reason) +
         attribute("type", std::string(name(judged.verdict))) + ">" +
         escaped(judged.limit.because) + "</" + kind + ">\n    </testcase>\n";
}

}  // namespace

std::string junit_xml(const Judgement& judgement, const std::string& bench,
                      const std::string& scenario, double lasts_s) {
  const auto count = [&](Verdict verdict) {
    return std::to_string(
        std::count_if(judgement.limits.begin(), judgement.limits.end(),
                      [&](const JudgedLimit& judged) { return judged.verdict == verdict; }));
  };
  const std::string counts = attribute("tests", std::to_string(judgement.limits.size())) +
                             attribute("failures", count(Verdict::FAIL)) +
                             attribute("errors", count(Verdict::INVALID));
  std::string text = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites" + counts +
                     ">\n  <testsuite" + attribute("name", scenario) + counts +
                     attribute("time", number_text(lasts_s, 9)) + ">\n";
  for (const JudgedLimit& judged : judgement.limits)
    text += case_xml(judged, bench + "." + scenario);
  return text + "  </testsuite>\n</testsuites>\n";
}

}  // namespace stillrotor
