// Settings of firmware: values with names that its makers let people change - pole pairs, a current
// gain, the order of the Halls. The bench writes some, in the firmware's own memory or EEPROM, and
// reads all of them back.
//
// Units  the firmware's own; `unit` says which, empty where it does not.
// Errors settings that the firmware has not, or values that it cannot hold, are a
//        ConfigError("controller.settings").
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace stillrotor::io {

/// What a bench asks for.
struct SettingChange {
  std::string name;
  double value = 0.0;
  std::string unit;  // empty: not written
};

/// What the firmware declares.
struct SettingForm {
  std::string name, unit;
  bool whole = false;  // holds whole numbers only
  double least = 0.0, most = 0.0;
};

/// As it was read back after the firmware's last start.
struct Setting {
  std::string name, unit;
  double value = 0.0;
  bool written = false;  // by the bench; else the firmware's own default
};

/// Which of the forms the change is for. Throws ConfigError where there is none or it cannot hold
/// the value.
std::size_t form_of(const SettingChange&, const std::vector<SettingForm>&);
/// Throws ConfigError where what was read back is not what was written.
void require_taken(const SettingChange&, double held, double read_back);

}  // namespace stillrotor::io
