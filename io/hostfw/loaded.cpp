#include "io/hostfw/loaded.hpp"

#include <dlfcn.h>

#include <utility>

namespace stillrotor::io::hostfw {

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
