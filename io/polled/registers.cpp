#include "io/polled/registers.hpp"

#include <fcntl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>
#include <string>
#include <utility>

namespace stillrotor::io {
namespace {

constexpr int word = 4;

struct Descriptor {
  int number;
  ~Descriptor() {
    if (number >= 0) ::close(number);
  }
};

[[noreturn]] void refuse(const char* key, const std::string& what) {
  const std::string path = std::string("controller.registers.") + key;
  throw ConfigError(path, path + " " + what);
}

std::int64_t window_end(const PolledRegisters& r) {
  int last = 0;
  const std::array named{std::pair{"level", r.level}, std::pair{"set", r.set},
                         std::pair{"clear", r.clear}, std::pair{"output", r.output},
                         std::pair{"enable", r.enable}};
  for (const auto& [key, offset] : named) {
    if (offset >= 0 && offset % word != 0)
      refuse(key, "is " + std::to_string(offset) +
                      "; allowed multiples of 4, registers have 32 bits. See the chip's manual.");
    last = std::max(last, offset);
  }
  return r.base + last + word;
}

}  // namespace

Registers::Registers(const PolledRegisters& r) {
  const std::int64_t end = window_end(r);
  const Descriptor file{::open(r.file.c_str(), O_RDWR | O_SYNC | O_CLOEXEC)};
  if (file.number < 0)
    refuse("file", "is " + r.file.string() + "; it cannot be opened (" + std::strerror(errno) +
                       "). Load the board's GPIO memory or UIO driver, and join the group that "
                       "owns the device.");
  struct stat info {};
  if (fstat(file.number, &info) == 0 && S_ISREG(info.st_mode) && info.st_size < end)
    refuse("file", "is " + r.file.string() + ", a file of " + std::to_string(info.st_size) +
                       " bytes; the registers named need " + std::to_string(end) +
                       ". Check base and offsets.");
  const std::int64_t page = sysconf(_SC_PAGESIZE), start = r.base / page * page;
  size_ = static_cast<std::size_t>(end - start);
  void* mapping = mmap(nullptr, size_, PROT_READ | PROT_WRITE, MAP_SHARED, file.number, start);
  if (mapping == MAP_FAILED)
    refuse("base", "is " + std::to_string(r.base) + "; " + r.file.string() +
                       " cannot be mapped there (" + std::strerror(errno) +
                       "). A UIO device maps its window N at N pages.");
  mapping_ = mapping;
  window_ = static_cast<unsigned char*>(mapping) + (r.base - start);
}

Registers::~Registers() {
  if (mapping_ != nullptr) munmap(mapping_, size_);
}

Registers::Registers(Registers&& other) noexcept { *this = std::move(other); }
Registers& Registers::operator=(Registers&& other) noexcept {
  std::swap(mapping_, other.mapping_);
  std::swap(window_, other.window_);
  std::swap(size_, other.size_);
  return *this;
}

}  // namespace stillrotor::io
