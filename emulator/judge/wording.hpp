// Numbers as sentences need them: the digits that matter, a prefix for short times.
#pragma once

#include <string>
#include <string_view>

namespace stillrotor {

/// Up to `digits` significant digits, no trailing zeros: "41.2".
std::string number_text(double value, int digits = 6);

/// With its unit; seconds and hertz get a prefix: "1.2 us", "16 kHz", "3" for counts (unit "1");
/// rad/s is shown in rpm.
std::string quantity_text(double value, std::string_view unit, int digits = 6);

}  // namespace stillrotor
