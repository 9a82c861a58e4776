// A verdict as continuous-integration servers read it: one test suite a run, one case a limit.
//   PASS a case; FAIL a <failure>; INVALID an <error>: nothing is known of the drive
// Form  the XML that such servers have in common since JUnit's Ant task; there is no standard.
#pragma once

#include <string>

#include "emulator/judge/judge.hpp"

namespace stillrotor {

inline constexpr const char* junit_name = "junit.xml";  // in the run's folder

/// bench and scenario: their names. Same inputs, same bytes.
std::string junit_xml(const Judgement&, const std::string& bench, const std::string& scenario,
                      double lasts_s);

}  // namespace stillrotor
