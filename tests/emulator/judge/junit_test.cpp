// The verdict as XML: what counts as what, and nothing that breaks the XML.
#include "emulator/judge/junit.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace stillrotor {
namespace {

using ::testing::HasSubstr;

JudgedLimit judged(const char* measure, Verdict verdict, const char* reason, const char* because) {
  JudgedLimit out;
  out.limit.measure = measure;
  out.limit.because = because;
  out.measured.to_s = 2.0;
  out.verdict = verdict;
  out.reason = reason;
  return out;
}

TEST(JUnit, HoldsACaseForEachLimit) {
  Judgement judgement;
  judgement.limits = {judged("speed_mean", Verdict::PASS, "it was right", "it drives"),
                      judged("torque_mean", Verdict::FAIL, "torque < 3 N m", "a \"hill\" & more"),
                      judged("bus_voltage_max", Verdict::INVALID, "a gap", "")};
  judgement.limits[0].limit.signal = "U";
  EXPECT_EQ(junit_xml(judgement, "Cart", "Hill", 4.0),
            R"(<?xml version="1.0" encoding="UTF-8"?>
<testsuites tests="3" failures="1" errors="1">
  <testsuite name="Hill" tests="3" failures="1" errors="1" time="4">
    <testcase classname="Cart.Hill" name="speed_mean U, 0 s to 2 s" time="0"/>
    <testcase classname="Cart.Hill" name="torque_mean, 0 s to 2 s" time="0">
      <failure message="torque &lt; 3 N m" type="FAIL">a &quot;hill&quot; &amp; more</failure>
    </testcase>
    <testcase classname="Cart.Hill" name="bus_voltage_max, 0 s to 2 s" time="0">
      <error message="a gap" type="INVALID"></error>
    </testcase>
  </testsuite>
</testsuites>
)");
}

TEST(JUnit, OfNoLimitsIsAnEmptySuite) {
  EXPECT_THAT(junit_xml({}, "Cart", "Drive", 1.0), HasSubstr("tests=\"0\" failures=\"0\""));
}

TEST(JUnit, ReplacesWhatXmlCannotHold) {
  Judgement judgement;
  judgement.limits = {judged("controller_alive", Verdict::FAIL, "said \x01\x02\nand died", "")};
  EXPECT_THAT(junit_xml(judgement, "Cart", "Drive", 1.0),
              HasSubstr("message=\"said ??&#10;and died\""));
}

}  // namespace
}  // namespace stillrotor
