#include "emulator/record/room.hpp"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <stdexcept>
#include <string>

namespace stillrotor {

Room::Room(const std::filesystem::path& file, std::uint64_t bytes)
    : bytes_(bytes), fd_(::open(file.c_str(), O_RDWR | O_CLOEXEC)) {
  if (fd_ >= 0 && held()) return;
  const std::string reason = std::strerror(errno);
  if (fd_ >= 0) ::close(fd_);
  throw std::runtime_error(file.string() + ": no room for " + std::to_string(bytes >> 20) +
                           " MB, the least that a record asks for: " + reason +
                           ". Name a folder on a disk with more room, or make some.");
}

Room::~Room() { ::close(fd_); }

bool Room::held() noexcept {
  struct stat file {};
  if (fstat(fd_, &file) != 0) return false;
  const auto size = static_cast<std::uint64_t>(file.st_size);
  rlimit limit{};
  if (getrlimit(RLIMIT_FSIZE, &limit) == 0 && limit.rlim_cur != RLIM_INFINITY &&
      size + bytes_ > limit.rlim_cur) {
    errno = EFBIG;
    return false;
  }
  if (fallocate(fd_, FALLOC_FL_KEEP_SIZE, file.st_size, static_cast<off_t>(bytes_)) == 0)
    return true;
  if (errno != EOPNOTSUPP && errno != ENOSYS) return false;
  // A file system that cannot promise: it can still be asked.
  struct statvfs disk {};
  if (fstatvfs(fd_, &disk) != 0) return false;
  errno = ENOSPC;
  return static_cast<std::uint64_t>(disk.f_bavail) * disk.f_frsize >= bytes_;
}

void Room::release() noexcept {
  struct stat file {};
  // Cutting a file to the size that it has frees what was held behind it.
  if (fstat(fd_, &file) == 0) [[maybe_unused]]
    const int ignored = ftruncate(fd_, file.st_size);
}

}  // namespace stillrotor
