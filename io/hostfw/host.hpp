// Where firmware runs: in a process of its own, or in the bench's.
#pragma once

#include <memory>
#include <string>

#include "io/connector.hpp"
#include "io/hostfw/config.hpp"
#include "io/hostfw/mailbox.hpp"

namespace stillrotor::io::hostfw {

class FirmwareHost {
 public:
  /// What an interrupt asks for before its end: a channel's volts into the moment, or room in the
  /// orders.
  class Questions {
   public:
    virtual void answer(Mailbox&) noexcept = 0;

   protected:
    ~Questions() = default;
  };

  virtual ~FirmwareHost() = default;

  /// Loads the firmware; its memory is as the linker left it. Throws ConfigError.
  virtual void start() = 0;
  /// The call that lies in the mailbox, to its end. False: it died or hangs.
  virtual bool call(Questions&) noexcept = 0;
  /// Gone, at once.
  virtual void stop() noexcept = 0;

  virtual Mailbox& mailbox() noexcept = 0;
  /// Of the latest call() that was false.
  virtual Health health() const noexcept = 0;
  virtual const std::string& diagnosis() const noexcept = 0;
};

/// Both throw ConfigError where the system lacks what they need.
std::unique_ptr<FirmwareHost> make_process_host(const HostFirmwareConfig&);
std::unique_ptr<FirmwareHost> make_in_process_host(const HostFirmwareConfig&);

}  // namespace stillrotor::io::hostfw
