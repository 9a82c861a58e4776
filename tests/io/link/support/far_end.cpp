#include "tests/io/link/support/far_end.hpp"

#include <arpa/inet.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <stdexcept>

#include "io/capture_thread.hpp"

namespace stillrotor::io {
namespace {

void need(bool good, const char* what) {
  if (!good) throw std::runtime_error(std::string("the test's far end: ") + what);
}

/// Bound to a port of 127.0.0.1 that was free.
int bound(int type, std::uint16_t& port) {
  const int fd = socket(AF_INET, type | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
  sockaddr_in at{};
  at.sin_family = AF_INET;
  at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  need(bind(fd, reinterpret_cast<sockaddr*>(&at), sizeof at) == 0, "bind");
  socklen_t size = sizeof at;
  need(getsockname(fd, reinterpret_cast<sockaddr*>(&at), &size) == 0, "getsockname");
  port = ntohs(at.sin_port);
  return fd;
}

}  // namespace

FarEnd::FarEnd(Kind kind) : kind_(kind) {
  std::uint16_t port = 0;
  switch (kind) {
    case Kind::serial: {
      wire_ = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
      need(wire_ >= 0 && grantpt(wire_) == 0 && unlockpt(wire_) == 0, "pseudo-terminal");
      const std::string name = ptsname(wire_);
      // Held open and raw, so that it stays when the other side lets go.
      slave_ = open(name.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
      termios raw{};
      need(slave_ >= 0 && tcgetattr(slave_, &raw) == 0, "its other end");
      cfmakeraw(&raw);
      tcsetattr(slave_, TCSANOW, &raw);
      address_ = "serial:" + name;
      break;
    }
    case Kind::udp:
      wire_ = bound(SOCK_DGRAM, port);
      address_ = "udp:127.0.0.1:" + std::to_string(port);
      break;
    case Kind::tcp:
      listener_ = bound(SOCK_STREAM, port);
      address_ = "tcp:127.0.0.1:" + std::to_string(port);
      break;
    case Kind::unix_socket: {
      listener_ = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
      std::string folder = "/tmp/link-XXXXXX";
      need(mkdtemp(folder.data()) != nullptr, "folder");
      path_ = folder + "/chip";
      sockaddr_un at{};
      at.sun_family = AF_UNIX;
      path_.copy(at.sun_path, sizeof at.sun_path - 1);
      need(bind(listener_, reinterpret_cast<sockaddr*>(&at), sizeof at) == 0, "bind");
      address_ = "unix:" + path_;
      break;
    }
  }
  if (listener_ >= 0) need(listen(listener_, 1) == 0, "listen");
  thread_ = std::thread([this] { run(); });
}

FarEnd::~FarEnd() {
  stop_ = true;
  thread_.join();
  for (const int fd : {listener_, wire_, slave_})
    if (fd >= 0) ::close(fd);
  if (!path_.empty()) {
    unlink(path_.c_str());
    rmdir(path_.substr(0, path_.rfind('/')).c_str());
  }
}

void FarEnd::accept() {
  if (listener_ < 0 || wire_ >= 0 || unplugged_) return;
  wire_ = accept4(listener_, nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC);
}

void FarEnd::hear() {
  std::array<std::uint8_t, 4096> bytes;
  while (wire_ >= 0) {
    ssize_t n = 0;
    if (kind_ == Kind::udp) {
      sockaddr_in from{};
      socklen_t size = sizeof from;
      n = recvfrom(wire_, bytes.data(), bytes.size(), 0, reinterpret_cast<sockaddr*>(&from), &size);
      if (n > 0 && !has_peer_)
        has_peer_ = connect(wire_, reinterpret_cast<sockaddr*>(&from), size) == 0;
    } else {
      n = read(wire_, bytes.data(), bytes.size());
    }
    if (n == 0 && listener_ >= 0) {
      ::close(wire_);
      wire_ = -1;
    }
    if (n <= 0) return;
    if (!unplugged_) board_.in.insert(board_.in.end(), bytes.begin(), bytes.begin() + n);
  }
}

void FarEnd::speak() {
  auto& out = board_.out;
  const bool nobody = unplugged_ || wire_ < 0 || (kind_ == Kind::udp && !has_peer_);
  if (nobody) {
    out.clear();
    if (listener_ >= 0 && wire_ >= 0) {
      ::close(wire_);
      wire_ = -1;
    }
    return;
  }
  while (!out.empty()) {
    std::size_t count = out.size();
    if (kind_ == Kind::udp) {  // whole frames, as many as fit
      count = 0;
      for (std::size_t k = 0; k < out.size() && k < 1200; ++k)
        if (out[k] == 0) count = k + 1;
      if (count == 0) return;
    }
    const ssize_t n = kind_ == Kind::serial ? ::write(wire_, out.data(), count)
                                            : ::send(wire_, out.data(), count, MSG_NOSIGNAL);
    if (n <= 0) return;
    out.erase(out.begin(), out.begin() + n);
  }
}

void FarEnd::make_edges(std::uint32_t until) {
  if (sent_ >= wanted_) edge_tick_ = until;
  for (; sent_<wanted_&& static_cast<std::int32_t>(until - edge_tick_)> 0; edge_tick_ += 104) {
    gates_ ^= 1U << sent_ % 6;
    board_.edges.push_back({edge_tick_, gates_});
    ++sent_;
  }
}

void FarEnd::run() {
  constexpr std::int64_t step_ns = 10'000;
  std::int64_t reached = monotonic_ns();
  while (!stop_) {
    accept();
    hear();
    const std::int64_t now = monotonic_ns();
    // Before it stops, no more than this may lie on the way.
    const auto full = [&] { return board_.out.size() > 2048 || sent_ - taken_ > 4000; };
    bool stood = false;
    for (int n = 0; n < 200 && reached + step_ns <= now && !stood; ++n, reached += step_ns) {
      stood = full() && !unplugged_;
      if (stood) break;
      make_edges(board_.counter + Board::step_ticks);
      board_.step_until(board_.counter + Board::step_ticks);
    }
    if (stood) {
      lf_chip_serve(&board_.chip);
      reached = std::max(reached, now - 20'000'000);  // what it stood is not made good for
    }
    driven_ = board_.driven;
    speak();
    if (reached + step_ns > now || stood) {
      pollfd any{wire_ >= 0 ? wire_ : listener_, POLLIN, 0};
      poll(&any, 1, 1);
    }
  }
}

}  // namespace stillrotor::io
