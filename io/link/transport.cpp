#include "io/link/transport.hpp"

#include <array>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/serial_port.hpp>
#include <boost/asio/write.hpp>
#include <vector>

namespace stillrotor::io {
namespace {

namespace asio = boost::asio;
using boost::system::error_code;

constexpr std::size_t most_waiting = 64 * 1024;

/// A serial port or a socket of a stream. Handlers of a connection that was closed do nothing:
/// `life_` counts connections.
template <class Socket>
class StreamTransport : public Transport {
 public:
  StreamTransport(asio::io_context& context, Listener& listener)
      : socket_(context), listener_(listener) {}

  bool write(std::span<const std::uint8_t> frames) override {
    if (!up_ || waiting_.size() + frames.size() > most_waiting) return false;
    waiting_.insert(waiting_.end(), frames.begin(), frames.end());
    if (going_.empty()) send();
    return true;
  }
  void close() noexcept override {
    ++life_;
    up_ = false;
    waiting_.clear();
    going_.clear();
    error_code ignored;
    socket_.close(ignored);
  }

 protected:
  void is_up() {
    up_ = true;
    listener_.up();
    receive();
  }
  void fail(const error_code& error) {
    close();
    listener_.down(error);
  }
  template <class F>
  auto mine(F f) {
    return [this, life = life_, f](const error_code& error, auto... more) {
      if (life != life_) return;
      if (error)
        fail(error);
      else
        f(more...);
    };
  }
  Socket socket_;

 private:
  void receive() {
    socket_.async_read_some(asio::buffer(buffer_), mine([this](std::size_t count) {
                              const unsigned life = life_;
                              listener_.bytes({buffer_.data(), count}, false);
                              if (life == life_) receive();
                            }));
  }
  void send() {
    going_.swap(waiting_);
    asio::async_write(socket_, asio::buffer(going_), mine([this](std::size_t) {
                        going_.clear();
                        if (!waiting_.empty()) send();
                      }));
  }

  Listener& listener_;
  bool up_ = false;
  unsigned life_ = 0;
  std::array<std::uint8_t, 16 * 1024> buffer_;
  std::vector<std::uint8_t> waiting_, going_;
};

class SerialTransport final : public StreamTransport<asio::serial_port> {
 public:
  SerialTransport(const LinkAddress& a, asio::io_context& c, Listener& l)
      : StreamTransport(c, l), address_(a) {}
  void open() override {
    using Port = asio::serial_port_base;
    error_code error;
    const auto set = [&](auto option) {
      if (!error) socket_.set_option(option, error);
    };
    socket_.open(address_.where, error);
    set(Port::baud_rate(address_.baud));
    set(Port::character_size(8));
    set(Port::parity(Port::parity::none));
    set(Port::stop_bits(Port::stop_bits::one));
    set(Port::flow_control(Port::flow_control::none));
    if (error)
      fail(error);
    else
      is_up();
  }

 private:
  LinkAddress address_;
};

template <class Socket>
class SocketTransport final : public StreamTransport<Socket> {
 public:
  using Endpoint = typename Socket::endpoint_type;
  SocketTransport(Endpoint to, asio::io_context& c, Transport::Listener& l)
      : StreamTransport<Socket>(c, l), to_(std::move(to)) {}
  void open() override {
    this->socket_.async_connect(to_, this->mine([this] {
      if constexpr (std::is_same_v<Socket, asio::ip::tcp::socket>) {
        error_code ignored;  // only slower without it
        this->socket_.set_option(asio::ip::tcp::no_delay(true), ignored);
      }
      this->is_up();
    }));
  }

 private:
  Endpoint to_;
};

/// Only what comes from that address and port arrives. A refused datagram (nobody there yet) is no
/// end of it.
class UdpTransport final : public Transport {
 public:
  UdpTransport(const LinkAddress& a, asio::io_context& c, Listener& l)
      : socket_(c), to_(asio::ip::make_address(a.where), a.port), listener_(l) {}
  void open() override {
    error_code error, ignored;
    socket_.open(to_.protocol(), error);
    if (!error) socket_.connect(to_, error);
    // A tenth of a second of edges, where the kernel grants it.
    if (!error) socket_.set_option(asio::socket_base::receive_buffer_size(1 << 20), ignored);
    if (!error) socket_.non_blocking(true, error);
    if (error) {
      close();
      listener_.down(error);
      return;
    }
    listener_.up();
    receive();
  }
  bool write(std::span<const std::uint8_t> frames) override {
    error_code error;
    socket_.send(asio::buffer(frames.data(), frames.size()), 0, error);
    return !error;
  }
  void close() noexcept override {
    ++life_;
    error_code ignored;
    socket_.close(ignored);
  }

 private:
  void receive() {
    socket_.async_receive(asio::buffer(buffer_),
                          [this, life = life_](const error_code& error, std::size_t count) {
                            if (life != life_) return;
                            if (!error) listener_.bytes({buffer_.data(), count}, true);
                            const bool goes_on = !error || error == asio::error::connection_refused;
                            if (life != life_) return;
                            if (goes_on) return receive();
                            close();
                            listener_.down(error);
                          });
  }

  asio::ip::udp::socket socket_;
  asio::ip::udp::endpoint to_;
  Listener& listener_;
  unsigned life_ = 0;
  std::array<std::uint8_t, 64 * 1024> buffer_;
};

}  // namespace

std::unique_ptr<Transport> make_transport(const LinkAddress& a, asio::io_context& context,
                                          Transport::Listener& listener) {
  using Tcp = asio::ip::tcp;
  using Local = asio::local::stream_protocol;
  switch (a.kind) {
    case LinkAddress::Kind::serial:
      return std::make_unique<SerialTransport>(a, context, listener);
    case LinkAddress::Kind::udp:
      return std::make_unique<UdpTransport>(a, context, listener);
    case LinkAddress::Kind::tcp:
      return std::make_unique<SocketTransport<Tcp::socket>>(
          Tcp::endpoint(asio::ip::make_address(a.where), a.port), context, listener);
    case LinkAddress::Kind::unix_socket:
      break;
  }
  return std::make_unique<SocketTransport<Local::socket>>(Local::endpoint(a.where), context,
                                                          listener);
}

}  // namespace stillrotor::io
