#include "io/firmware_settings.hpp"

#include <cmath>
#include <cstdio>

#include "io/connector.hpp"

namespace stillrotor::io {
namespace {

std::string number(double x) {
  char text[32];
  std::snprintf(text, sizeof text, "%.9g", x);
  return text;
}

[[noreturn]] void refuse(const SettingChange& change, const std::string& why) {
  throw ConfigError("controller.settings", "controller.settings." + change.name + " " + why);
}

std::string with_unit(const std::string& value, const std::string& unit) {
  return unit.empty() ? value : value + " " + unit;
}

}  // namespace

std::size_t form_of(const SettingChange& change, const std::vector<SettingForm>& forms) {
  std::string names;
  for (std::size_t k = 0; k < forms.size(); ++k) {
    const SettingForm& form = forms[k];
    names += (k > 0 ? ", " : "") + form.name;
    if (form.name != change.name) continue;
    if (!change.unit.empty() && change.unit != form.unit)
      refuse(change, "is given in " + change.unit + "; the firmware counts it " +
                         (form.unit.empty() ? "without a unit" : "in " + form.unit) +
                         ". Write the number alone, or that unit.");
    if (!(change.value >= form.least && change.value <= form.most) ||
        (form.whole && change.value != std::floor(change.value)))
      refuse(change, "is " + number(change.value) + "; the firmware allows " + number(form.least) +
                         " to " + with_unit(number(form.most), form.unit) +
                         (form.whole ? ", whole." : "."));
    return k;
  }
  refuse(change, forms.empty() ? "is no setting of this firmware; it declares none. See "
                                 "docs/recipes/vary-a-firmware-setting.md."
                               : "is no setting of this firmware; it has " + names + ".");
}

void require_taken(const SettingChange& change, double held, double read_back) {
  if (held == read_back) return;
  refuse(change,
         "was written as " + number(held) + ", and the firmware holds " + number(read_back) +
             ". It replaces the value when it starts; mend that, or leave the setting out.");
}

}  // namespace stillrotor::io
