#include "emulator/record/hdf5.hpp"

#include <stdexcept>

namespace stillrotor {
namespace {

std::mutex& library_mutex() {
  static std::mutex mutex;
  return mutex;
}

bool prepare_library() {
  // At exit the library would try again to write files that a full disk already refused.
  H5dont_atexit();
  return H5open() >= 0;
}

/// The library prints each error of a thread, unless that thread has told it not to.
bool silence_this_thread() { return H5Eset_auto2(H5E_DEFAULT, nullptr, nullptr) >= 0; }

/// The deepest entry of the error stack says what really happened; a failed system call's entry
/// quotes the system's words.
herr_t keep_reason(unsigned, const H5E_error2_t* entry, void* text) {
  if (entry->desc == nullptr) return 0;
  std::string& reason = *static_cast<std::string*>(text);
  const std::string_view description = entry->desc;
  constexpr std::string_view quote = "error message = '";
  const auto start = description.find(quote);
  if (start == std::string_view::npos) {
    if (reason.empty()) reason = description;
    return 0;
  }
  const auto first = start + quote.size();
  reason = description.substr(first, description.find('\'', first) - first);
  return 1;  // found: no need to walk on
}

}  // namespace

Hdf5Lock::Hdf5Lock() : hold_(library_mutex()) {
  [[maybe_unused]] static const bool prepared = prepare_library();
  [[maybe_unused]] thread_local const bool silent = silence_this_thread();
}

void throw_hdf5_error(const std::string& what) {
  std::string reason;
  H5Ewalk2(H5E_DEFAULT, H5E_WALK_UPWARD, &keep_reason, &reason);
  H5Eclear2(H5E_DEFAULT);
  throw std::runtime_error(reason.empty() ? what : what + ": " + reason);
}

}  // namespace stillrotor
