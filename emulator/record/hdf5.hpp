// The HDF5 C library with handles that close, errors as exceptions, and one lock: not every build
// of the library is thread-safe, so every use of it in this process holds Hdf5Lock.
#pragma once

#include <hdf5.h>

#include <mutex>
#include <string>
#include <string_view>
#include <utility>

namespace stillrotor {

/// Held around every call into the library. Also turns the library's own error printing and its
/// exit handler off.
class Hdf5Lock {
 public:
  Hdf5Lock();

 private:
  std::unique_lock<std::mutex> hold_;
};

/// Throws std::runtime_error: "<what>: <the system's or the library's reason>".
[[noreturn]] void throw_hdf5_error(const std::string& what);

/// An HDF5 identifier and the function that closes it.
class Hdf5Handle {
 public:
  using Close = herr_t (*)(hid_t);
  Hdf5Handle() = default;
  /// Throws std::runtime_error naming `what` when the library answered with an invalid identifier.
  Hdf5Handle(hid_t id, Close closer, std::string_view what) : id_(id), close_(closer) {
    if (id < 0) throw_hdf5_error(std::string(what));
  }
  Hdf5Handle(Hdf5Handle&& other) noexcept
      : id_(std::exchange(other.id_, H5I_INVALID_HID)), close_(other.close_) {}
  Hdf5Handle& operator=(Hdf5Handle&& other) noexcept {
    std::swap(id_, other.id_);
    std::swap(close_, other.close_);
    return *this;
  }
  ~Hdf5Handle() { close(); }

  /// False: the library could not close it, for a file because its last bytes could not be written.
  bool close() noexcept {
    if (id_ < 0) return true;
    return close_(std::exchange(id_, H5I_INVALID_HID)) >= 0;
  }
  explicit operator bool() const noexcept { return id_ >= 0; }
  hid_t get() const noexcept { return id_; }

 private:
  hid_t id_ = H5I_INVALID_HID;
  Close close_ = nullptr;
};

/// For calls that answer with a status.
inline void check_hdf5(herr_t status, std::string_view what) {
  if (status < 0) throw_hdf5_error(std::string(what));
}

}  // namespace stillrotor
