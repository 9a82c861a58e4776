#include "io/mcu/image/elf_file.hpp"

#include <fmt/core.h>

#include "io/connector.hpp"

namespace stillrotor::io::mcu {

bool starts_like_elf(std::string_view bytes) noexcept {
  return bytes.starts_with(std::string_view(ELFMAG, SELFMAG));
}

ElfFile::ElfFile(std::string_view bytes, const ElfTarget& target, const std::string& name)
    : bytes_(bytes), name_(name) {
  const auto header = read_at<Elf32_Ehdr>(0);
  if (!header) cut_off();
  header_ = *header;
  if (!starts_like_elf(bytes) || header_.e_ident[EI_CLASS] != ELFCLASS32 ||
      header_.e_ident[EI_DATA] != ELFDATA2LSB || header_.e_machine != target.machine)
    refuse(
        fmt::format("is an ELF file for another processor (machine {}, {}-bit)", header_.e_machine,
                    header_.e_ident[EI_CLASS] == ELFCLASS64 ? 64 : 32),
        fmt::format("Compile it with {} (machine {}, 32-bit).", target.compiler, target.machine));
  if (header_.e_type != ET_EXEC)
    refuse(fmt::format("is an {} object file that has not been linked", target.family),
           fmt::format("Link it: {} -o firmware.elf ...", target.compiler));
}

std::vector<Segment> ElfFile::segments() const {
  std::vector<Segment> result;
  for (unsigned i = 0; i < header_.e_phnum; ++i) {
    const auto one = read_at<Elf32_Phdr>(header_.e_phoff + std::uint64_t{i} * sizeof(Elf32_Phdr));
    if (!one) cut_off();
    if (one->p_type != PT_LOAD || one->p_filesz == 0) continue;
    const std::uint64_t offset = one->p_offset, size = one->p_filesz;
    if (offset > bytes_.size() || bytes_.size() - offset < size) cut_off();
    result.push_back({one->p_vaddr, one->p_paddr, bytes_.substr(offset, size), one->p_memsz});
  }
  return result;
}

std::vector<Symbol> ElfFile::symbols() const {
  std::vector<Symbol> result;
  for (unsigned i = 0; i < header_.e_shnum; ++i) {
    const auto table = section(i);
    if (!table || table->sh_type != SHT_SYMTAB) continue;
    const auto names = section(table->sh_link);
    if (!names) continue;
    for (std::uint64_t at = 0; at + sizeof(Elf32_Sym) <= table->sh_size; at += sizeof(Elf32_Sym)) {
      const auto symbol = read_at<Elf32_Sym>(table->sh_offset + at);
      if (!symbol) break;
      const unsigned type = ELF32_ST_TYPE(symbol->st_info);
      if (type != STT_FUNC && type != STT_OBJECT) continue;
      const auto name = text_at(std::uint64_t{names->sh_offset} + symbol->st_name);
      if (!name.empty())
        result.push_back({symbol->st_value, symbol->st_size, type == STT_FUNC, name});
    }
  }
  return result;
}

std::optional<Elf32_Shdr> ElfFile::section(unsigned index) const {
  return read_at<Elf32_Shdr>(header_.e_shoff + std::uint64_t{index} * sizeof(Elf32_Shdr));
}

std::string_view ElfFile::text_at(std::uint64_t offset) const {
  if (offset >= bytes_.size()) return {};
  return bytes_.substr(offset, bytes_.find('\0', offset) - offset);
}

void ElfFile::refuse(const std::string& reason, const std::string& remedy) const {
  throw ConfigError("controller.firmware", fmt::format("{} {}. {}", name_, reason, remedy));
}

void ElfFile::cut_off() const {
  refuse("ends before its own table says", "It is cut off or damaged; build or copy it again.");
}

}  // namespace stillrotor::io::mcu
