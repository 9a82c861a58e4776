// Room on the disk that is held before it is needed, so that a file can always be brought to a good
// end: what would not fit is found out while nothing has been written yet.
// Errors  the constructor throws std::runtime_error with the remedy; after that a full disk is an
//         answer, not an error.
#pragma once

#include <cstdint>
#include <filesystem>

namespace stillrotor {

class Room {
 public:
  /// For a file that exists. Throws where not even `bytes` can be had.
  Room(const std::filesystem::path& file, std::uint64_t bytes);
  ~Room();
  Room(const Room&) = delete;
  Room& operator=(const Room&) = delete;

  /// Whether `bytes` behind the file's present end belong to it. Cheap; may be asked again later.
  /// Regards the disk, its quotas and the limit on the size of files (RLIMIT_FSIZE).
  bool held() noexcept;
  /// Gives back what the file has not used.
  void release() noexcept;

 private:
  std::uint64_t bytes_;
  int fd_;
};

}  // namespace stillrotor
