// A mapped word in place of a chip: memory that this test, the backend and other processes share.
#pragma once

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/mman.h>
#include <unistd.h>

#include <atomic>
#include <cstdint>
#include <string>

#include "io/polled/config.hpp"

namespace stillrotor::io::test {

class RegisterFile {
 public:
  static constexpr int level = 0x00, set = 0x04, clear = 0x08, output = 0x0c, enable = 0x10,
                       acknowledged = 0x20;

  RegisterFile() : file_(memfd_create("registers", 0)) {
    if (file_ < 0 || ftruncate(file_, 4096) != 0) std::abort();
    words_ = static_cast<std::atomic<std::uint32_t>*>(
        mmap(nullptr, 4096, PROT_READ | PROT_WRITE, MAP_SHARED, file_, 0));
  }
  ~RegisterFile() {
    munmap(words_, 4096);
    ::close(file_);
  }
  std::string path() const { return "/proc/self/fd/" + std::to_string(file_); }
  std::atomic<std::uint32_t>& word(int offset) { return words_[offset / 4]; }

 private:
  int file_;
  std::atomic<std::uint32_t>* words_;
};

}  // namespace stillrotor::io::test
