#include "io/link/port/chip_wire.hpp"

#include <fcntl.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/serial_port_base.hpp>
#include <cerrno>
#include <cstring>
#include <string>
#include <utility>

#include "io/connector.hpp"

namespace stillrotor::io {
namespace {

constexpr std::size_t datagram = 1200;  // below what any network passes on in one piece

/// A file descriptor that closes itself.
class Descriptor {
 public:
  Descriptor() = default;
  explicit Descriptor(int fd) noexcept : fd_(fd) {}
  Descriptor(Descriptor&& other) noexcept : fd_(std::exchange(other.fd_, -1)) {}
  Descriptor& operator=(Descriptor&& other) noexcept {
    std::swap(fd_, other.fd_);
    return *this;
  }
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  int get() const noexcept { return fd_; }
  explicit operator bool() const noexcept { return fd_ >= 0; }
  void reset() noexcept { *this = Descriptor(); }

 private:
  int fd_ = -1;
};

void need(bool good, const std::string& what) {
  if (good) return;
  throw ConfigError(
      "controller.link.address",
      what + ": " + std::strerror(errno) + ". Allowed: an address of this computer that is free.");
}

void wait_for(int fd, int ms) noexcept {
  pollfd one{fd, POLLIN, 0};
  poll(&one, 1, ms);
}

/// Reads all there is; false: the other end is gone.
bool read_all(int fd, std::vector<std::uint8_t>& bytes) {
  std::array<std::uint8_t, 4096> some;
  for (;;) {
    const ssize_t n = read(fd, some.data(), some.size());
    if (n <= 0) return n < 0 && (errno == EAGAIN || errno == EINTR);
    bytes.insert(bytes.end(), some.begin(), some.begin() + n);
  }
}

class StreamWire final : public ChipWire {
 public:
  StreamWire(Descriptor listener, std::string socket_file)
      : listener_(std::move(listener)), file_(std::move(socket_file)) {}
  ~StreamWire() override {
    if (!file_.empty()) unlink(file_.c_str());
  }
  void wait(int ms) noexcept override { wait_for(peer_ ? peer_.get() : listener_.get(), ms); }
  bool receive(std::vector<std::uint8_t>& bytes) override {
    bool fresh = false;
    if (!peer_) {
      peer_ = Descriptor(accept4(listener_.get(), nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC));
      fresh = static_cast<bool>(peer_);
    }
    if (peer_ && !read_all(peer_.get(), bytes)) peer_.reset();
    return fresh;
  }
  void send(std::span<const std::uint8_t> bytes) noexcept override {
    // What has no room now would come late: a stream that is cut within a frame goes on behind the
    // next zero.
    if (peer_ && !bytes.empty())
      (void)!::send(peer_.get(), bytes.data(), bytes.size(), MSG_NOSIGNAL);
  }

 private:
  Descriptor listener_, peer_;
  std::string file_;
};

class DatagramWire final : public ChipWire {
 public:
  explicit DatagramWire(Descriptor socket) : socket_(std::move(socket)) {}
  void wait(int ms) noexcept override { wait_for(socket_.get(), ms); }
  bool receive(std::vector<std::uint8_t>& bytes) override {
    bytes.resize(65'536);
    socklen_t size = sizeof from_;
    const ssize_t n = recvfrom(socket_.get(), bytes.data(), bytes.size(), 0,
                               reinterpret_cast<sockaddr*>(&from_), &size);
    if (n >= 0) size_ = size;
    bytes.resize(n > 0 ? static_cast<std::size_t>(n) : 0);
    return n > 0;
  }
  void send(std::span<const std::uint8_t> bytes) noexcept override {
    while (!bytes.empty() && size_ > 0) {
      std::size_t count = std::min(bytes.size(), datagram);
      while (count > 0 && bytes[count - 1] != 0) --count;
      if (count == 0) return;
      (void)!sendto(socket_.get(), bytes.data(), count, 0, reinterpret_cast<sockaddr*>(&from_),
                    size_);
      bytes = bytes.subspan(count);
    }
  }

 private:
  Descriptor socket_;
  sockaddr_storage from_{};
  socklen_t size_ = 0;
};

class SerialWire final : public ChipWire {
 public:
  explicit SerialWire(Descriptor device) : device_(std::move(device)) {}
  void wait(int ms) noexcept override { wait_for(device_.get(), ms); }
  bool receive(std::vector<std::uint8_t>& bytes) override {
    read_all(device_.get(), bytes);
    return false;
  }
  void send(std::span<const std::uint8_t> bytes) noexcept override {
    if (!bytes.empty()) (void)!write(device_.get(), bytes.data(), bytes.size());
  }

 private:
  Descriptor device_;
};

Descriptor unix_listener(const std::string& path) {
  sockaddr_un at{};
  at.sun_family = AF_UNIX;
  need(path.size() < sizeof at.sun_path, path + " (too long for a socket)");
  path.copy(at.sun_path, sizeof at.sun_path - 1);
  const auto* where = reinterpret_cast<const sockaddr*>(&at);
  Descriptor fd(socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
  need(static_cast<bool>(fd), "a socket");
  // One that a program left behind is taken over; one where somebody listens is not.
  struct stat left {};
  if (stat(path.c_str(), &left) == 0 && S_ISSOCK(left.st_mode)) {
    const Descriptor probe(socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0));
    if (connect(probe.get(), where, sizeof at) != 0 && errno == ECONNREFUSED) unlink(path.c_str());
  }
  need(bind(fd.get(), where, sizeof at) == 0, path);
  need(listen(fd.get(), 1) == 0, path);
  return fd;
}

template <class Endpoint>
Descriptor bound(const LinkAddress& a, int type) {
  const Endpoint at(boost::asio::ip::make_address(a.where), a.port);
  Descriptor fd(socket(at.data()->sa_family, type | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
  const std::string where = a.where + " port " + std::to_string(a.port);
  need(static_cast<bool>(fd), where);
  const int on = 1;
  setsockopt(fd.get(), SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
  need(bind(fd.get(), at.data(), static_cast<socklen_t>(at.size())) == 0, where);
  return fd;
}

Descriptor serial_device(const LinkAddress& a) {
  Descriptor fd(open(a.where.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC));
  need(static_cast<bool>(fd), a.where);
  termios raw{};
  need(tcgetattr(fd.get(), &raw) == 0, a.where);
  cfmakeraw(&raw);
  boost::system::error_code wrong;
  boost::asio::serial_port_base::baud_rate(a.baud).store(raw, wrong);
  if (wrong) errno = EINVAL;
  need(!wrong, a.where + " at " + std::to_string(a.baud) + " baud");
  need(tcsetattr(fd.get(), TCSANOW, &raw) == 0, a.where);
  return fd;
}

}  // namespace

std::unique_ptr<ChipWire> listen_at(const LinkAddress& a) {
  switch (a.kind) {
    case LinkAddress::Kind::serial:
      return std::make_unique<SerialWire>(serial_device(a));
    case LinkAddress::Kind::udp:
      return std::make_unique<DatagramWire>(bound<boost::asio::ip::udp::endpoint>(a, SOCK_DGRAM));
    case LinkAddress::Kind::tcp: {
      Descriptor fd = bound<boost::asio::ip::tcp::endpoint>(a, SOCK_STREAM);
      need(listen(fd.get(), 1) == 0, a.where);
      return std::make_unique<StreamWire>(std::move(fd), "");
    }
    case LinkAddress::Kind::unix_socket:
      break;
  }
  return std::make_unique<StreamWire>(unix_listener(a.where), a.where);
}

}  // namespace stillrotor::io
