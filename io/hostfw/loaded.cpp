#include "io/hostfw/loaded.hpp"

#include <dlfcn.h>

#include <climits>
#include <cmath>
#include <cstring>
#include <utility>

#include "io/hostfw/mailbox.hpp"

namespace stillrotor::io::hostfw {
namespace {

constexpr int most_settings = 256;

/// Empty: its table of settings can be used.
std::string fault_of_settings(const sr_firmware& firmware) {
  if (firmware.setting_count < 0 || firmware.setting_count > most_settings ||
      (firmware.setting_count > 0 && firmware.settings == nullptr))
    return "its setting_count is " + std::to_string(firmware.setting_count) + "; allowed 0 to " +
           std::to_string(most_settings) + ", with a table of that length.";
  for (int k = 0; k < firmware.setting_count; ++k) {
    const sr_setting& one = firmware.settings[k];
    const std::string which = "its setting number " + std::to_string(k);
    if (one.name == nullptr || *one.name == '\0' ||
        std::strlen(one.name) >= SettingSlip{}.name.size())
      return which + " has no name, or one of 48 characters or more. Give it a short one.";
    if (std::strcspn(one.name, " :,.={}") != std::strlen(one.name))
      return which + " is called \"" + one.name + "\"; allowed is one word. Write _ for a space.";
    for (int j = 0; j < k; ++j)
      if (std::strcmp(firmware.settings[j].name, one.name) == 0)
        return which + " is called " + one.name + ", as another one. Give each its own name.";
    if (one.unit != nullptr && std::strlen(one.unit) >= SettingSlip{}.unit.size())
      return which + ", " + one.name + ", has a unit of 16 characters or more. Shorten it.";
    const bool whole = one.type == SR_INT32;
    if (one.at == nullptr || (!whole && one.type != SR_FLOAT && one.type != SR_DOUBLE))
      return which + ", " + one.name + ", has no variable, or one of no known type.";
    if (!(std::isfinite(one.least) && std::isfinite(one.most) && one.least <= one.most) ||
        (whole && (one.least < INT32_MIN || one.most > INT32_MAX)))
      return which + ", " + one.name +
             ", allows nothing, or more than its type holds. Give least " + "and most.";
  }
  return {};
}

}  // namespace

std::string Loaded::load(const char* file) noexcept {
  file_ = file;
  object_ = dlopen(file, RTLD_NOW | RTLD_LOCAL);
  if (object_ == nullptr) {
    const char* why = dlerror();
    return std::string("it cannot be loaded: ") + (why ? why : "unknown reason") +
           ". Link it with -shared -fPIC, for this machine.";
  }
  using Entry = const sr_firmware* (*)();
  const auto entry = reinterpret_cast<Entry>(dlsym(object_, "sr_firmware_table"));
  if (entry == nullptr)
    return "it exports no sr_firmware_table(). Include stillrotor_firmware.h and define that "
           "function.";
  const sr_firmware* firmware = entry();
  if (firmware == nullptr) return "its sr_firmware_table() returns nothing. Return its table.";
  if (firmware->version != SR_FIRMWARE_VERSION)
    return "it was compiled for version " + std::to_string(firmware->version) +
           " of stillrotor_firmware.h; allowed " + std::to_string(SR_FIRMWARE_VERSION) +
           ". Compile it with the present header.";
  if (firmware->reset == nullptr) return "it has no reset(). That one is required.";
  if (std::string fault = fault_of_settings(*firmware); !fault.empty()) return fault;
  firmware_ = firmware;
  return {};
}

bool Loaded::unload() noexcept {
  firmware_ = nullptr;
  if (object_ == nullptr) return true;
  dlclose(std::exchange(object_, nullptr));
  void* still = dlopen(file_.c_str(), RTLD_NOW | RTLD_LOCAL | RTLD_NOLOAD);
  if (still == nullptr) return true;
  dlclose(still);
  return false;
}

}  // namespace stillrotor::io::hostfw
