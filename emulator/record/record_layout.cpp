#include "emulator/record/record_layout.hpp"

#include <algorithm>
#include <cstddef>
#include <utility>

namespace stillrotor::layout {
namespace {

void add_member(const Hdf5Handle& compound, const char* name, std::size_t offset, hid_t type) {
  check_hdf5(H5Tinsert(compound.get(), name, offset, type), "cannot describe the record's types");
}

}  // namespace

Hdf5Handle text_type(std::size_t size) {
  Hdf5Handle type(H5Tcopy(H5T_C_S1), &H5Tclose, "cannot describe a text");
  check_hdf5(H5Tset_size(type.get(), std::max<std::size_t>(size, 1)), "cannot describe a text");
  check_hdf5(H5Tset_cset(type.get(), H5T_CSET_UTF8), "cannot describe a text");
  check_hdf5(H5Tset_strpad(type.get(), H5T_STR_NULLPAD), "cannot describe a text");
  return type;
}

Hdf5Handle edge_type() {
  Hdf5Handle type(H5Tcreate(H5T_COMPOUND, sizeof(EdgeEntry)), &H5Tclose, "cannot describe an edge");
  add_member(type, "t_ps", offsetof(EdgeEntry, t_ps), H5T_STD_I64LE);
  add_member(type, "level", offsetof(EdgeEntry, level), H5T_STD_U8LE);
  return type;
}

Hdf5Handle mark_type() {
  Hdf5Handle kind(H5Tenum_create(H5T_STD_U8LE), &H5Tclose, "cannot describe a mark");
  constexpr std::pair<const char*, MarkKind> kinds[] = {{"action", MarkKind::action},
                                                        {"fault", MarkKind::fault},
                                                        {"event", MarkKind::event},
                                                        {"text", MarkKind::text},
                                                        {"gap", MarkKind::gap}};
  for (const auto& [name, value] : kinds) {
    check_hdf5(H5Tenum_insert(kind.get(), name, &value), "cannot describe a mark");
  }
  Hdf5Handle type(H5Tcreate(H5T_COMPOUND, sizeof(MarkEntry)), &H5Tclose, "cannot describe a mark");
  add_member(type, "t_ps", offsetof(MarkEntry, t_ps), H5T_STD_I64LE);
  add_member(type, "to_ps", offsetof(MarkEntry, to_ps), H5T_STD_I64LE);
  add_member(type, "kind", offsetof(MarkEntry, kind), kind.get());
  add_member(type, "name", offsetof(MarkEntry, name), text_type(sizeof(MarkEntry::name)).get());
  add_member(type, "detail", offsetof(MarkEntry, detail),
             text_type(sizeof(MarkEntry::detail)).get());
  return type;
}

}  // namespace stillrotor::layout
