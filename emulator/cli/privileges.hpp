// From root to an ordinary user, for good, before anything is opened: what a bench needs of root is
// two limits; its devices belong to a group (docs/service.md).
#pragma once

#include <string>

namespace stillrotor {

/// Raises the limits of real-time priority and locked memory, then becomes this user with all of
/// their groups; nothing leads back. Throws InputError: not root, no such user, root again;
/// std::runtime_error: the system refuses.
void become(const std::string& user);

}  // namespace stillrotor
