#include "emulator/cli/privileges.hpp"

#include <grp.h>
#include <pwd.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <stdexcept>
#include <vector>

#include "emulator/bench/highest_priority.hpp"
#include "emulator/bench/input_error.hpp"

namespace stillrotor {
namespace {

void must(int status, const std::string& what) {
  if (status != 0)
    throw std::runtime_error("--user: cannot " + what + ": " + std::strerror(errno) +
                             ". Start it without root instead (docs/service.md).");
}

passwd find(const std::string& user, std::vector<char>& text) {
  passwd entry{}, *found = nullptr;
  const int error = getpwnam_r(user.c_str(), &entry, text.data(), text.size(), &found);
  if (error != 0 || found == nullptr)
    throw InputError("--user: there is no user \"" + user +
                     "\" here. Name one, or make one: docs/service.md.");
  return entry;
}

}  // namespace

void become(const std::string& user) {
  if (geteuid() != 0)
    throw InputError("--user is for a program that root has started. Leave it out.");
  std::vector<char> text(16384);
  const passwd entry = find(user, text);
  if (entry.pw_uid == 0)
    throw InputError("--user: " + user + " is root, which it is there to leave. Name another one.");

  const rlimit no_limit{RLIM_INFINITY, RLIM_INFINITY};
  const rlimit priority{rlim_t{highest_priority}, rlim_t{highest_priority}};
  // Where they may not be raised, in a container, a run on the wall clock says what it lacks.
  setrlimit(RLIMIT_MEMLOCK, &no_limit);
  setrlimit(RLIMIT_RTPRIO, &priority);
  must(initgroups(user.c_str(), entry.pw_gid), "take over the user's groups");
  must(setresgid(entry.pw_gid, entry.pw_gid, entry.pw_gid), "become the user's group");
  must(setresuid(entry.pw_uid, entry.pw_uid, entry.pw_uid), "become the user");
  must(prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0), "give up new rights");
  if (setuid(0) == 0) throw std::runtime_error("--user: root came back; nothing is run.");
}

}  // namespace stillrotor
