#include "seal/container.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zip.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>

#include "seal/digest.hpp"
#include "seal/scratch_file.hpp"

namespace steadyglow::seal {
namespace {

constexpr std::size_t zip_bytes_max = std::size_t{256} << 20;
/// 1980-01-01, noon: a zip has no earlier time, and the record's own times are inside it.
constexpr zip_uint16_t fixed_dos_date = (0 << 9) | (1 << 5) | 1;
constexpr zip_uint16_t fixed_dos_time = 12 << 11;
constexpr zip_uint32_t plain_file_mode = 0100644u << 16;
constexpr zip_uint32_t compression_level = 6;

struct ZipClose {
  void operator()(zip_t* zip) const { zip_discard(zip); }
};
struct SourceFree {
  void operator()(zip_source_t* source) const { zip_source_free(source); }
};
struct FileClose {
  void operator()(zip_file_t* file) const { zip_fclose(file); }
};
using Zip = std::unique_ptr<zip_t, ZipClose>;
using Source = std::unique_ptr<zip_source_t, SourceFree>;

std::string text_of(zip_error_t& error) {
  std::string text = zip_error_strerror(&error);
  zip_error_fini(&error);
  return text;
}

/// PDF and PNG are packed already.
bool is_packed(std::string_view name) { return name.ends_with(".png") || name.ends_with(".pdf") || name.ends_with(".sqlite"); }

Result<void> add_to_zip(zip_t* zip, const NamedFile& file) {
  Source source(zip_source_buffer(zip, file.bytes.data(), file.bytes.size(), 0));
  if (!source) return fail(Fault::io, "out of memory");
  const zip_int64_t index = zip_file_add(zip, file.name.c_str(), source.get(), ZIP_FL_ENC_UTF_8);
  if (index < 0) return fail(Fault::io, std::string("the zip cannot be made: ") + zip_strerror(zip), "", file.name);
  (void)source.release();  // the zip's now
  const auto i = static_cast<zip_uint64_t>(index);
  const bool is_set = zip_set_file_compression(zip, i, is_packed(file.name) ? ZIP_CM_STORE : ZIP_CM_DEFLATE, compression_level) == 0 &&
                      zip_file_set_dostime(zip, i, fixed_dos_time, fixed_dos_date, 0) == 0 && zip_file_set_external_attributes(zip, i, 0, ZIP_OPSYS_UNIX, plain_file_mode) == 0;
  if (!is_set) return fail(Fault::io, std::string("the zip cannot be made: ") + zip_strerror(zip), "", file.name);
  return {};
}

/// A stranger's name for a terminal: no control characters.
std::string shown(std::string_view name) {
  std::string out;
  for (const char c : name.substr(0, name_length_max)) out += static_cast<unsigned char>(c) < 0x20 || c == 0x7f ? '?' : c;
  return out;
}

class ZipContainer final : public Container {
 public:
  static Result<std::unique_ptr<Container>> open(const std::string& path) {
    auto container = std::make_unique<ZipContainer>();
    auto bytes = read_plain_file(path, zip_bytes_max);
    if (!bytes) return tl::unexpected(bytes.error());
    container->zip_bytes_ = std::move(*bytes);
    if (auto ready = container->begin(); !ready) {
      Error error = ready.error();
      if (error.where.empty()) error.where = path;
      return tl::unexpected(error);
    }
    return container;
  }

  Result<std::string> read(const ListedFile& file) override {
    const auto index = static_cast<zip_uint64_t>(&file - files_.data());
    std::unique_ptr<zip_file_t, FileClose> in(zip_fopen_index(zip_.get(), index, 0));
    if (!in) return fail(Fault::bad_data, std::string("it cannot be unpacked: ") + zip_strerror(zip_.get()), "", file.name);
    // One byte more than claimed: what is longer than it says is found here.
    std::string bytes(file.bytes + 1, '\0');
    std::size_t done = 0;
    while (done < bytes.size()) {
      const zip_int64_t got = zip_fread(in.get(), bytes.data() + done, bytes.size() - done);
      if (got < 0) return fail(Fault::bad_data, std::string("it cannot be unpacked: ") + zip_error_strerror(zip_file_get_error(in.get())), "", file.name);
      if (got == 0) break;
      done += static_cast<std::size_t>(got);
    }
    if (done != file.bytes) return fail(Fault::bad_data, "it unpacks to another size than the zip says", "", file.name);
    bytes.resize(done);
    return bytes;
  }

 private:
  Result<void> begin() {
    const std::string_view all = zip_bytes_;
    if (all.empty()) return fail(Fault::bad_data, "the file is empty");
    if (!all.starts_with("PK")) return fail(Fault::bad_data, "this is neither a folder nor a zip, so no record", "name the folder or the zip of a record");
    const bool has_digest = all.size() > digest_hex_length;
    const std::string_view said = has_digest ? all.substr(all.size() - digest_hex_length) : std::string_view();
    if (!has_digest || sha256_hex(all.substr(0, all.size() - digest_hex_length)) != said)
      changed_ = "the zip was changed, cut short or packed anew after it was made (the digest in its comment does not fit its bytes)";
    zip_error_t error;
    zip_error_init(&error);
    Source source(zip_source_buffer_create(zip_bytes_.data(), zip_bytes_.size(), 0, &error));
    if (source) zip_.reset(zip_open_from_source(source.get(), ZIP_RDONLY | ZIP_CHECKCONS, &error));
    if (!zip_ && zip_error_code_zip(&error) == ZIP_ER_EXISTS) return fail(Fault::bad_data, "two files of the zip have one name", "nobody can say which one is meant");
    if (!zip_) return fail(Fault::bad_data, "the zip cannot be read: " + text_of(error), "was it cut short on its way? ask for it again");
    (void)source.release();
    zip_error_fini(&error);
    const zip_int64_t count = zip_get_num_entries(zip_.get(), 0);
    if (count < 0 || static_cast<std::size_t>(count) > files_max) return fail(Fault::bad_data, "the zip holds more than " + std::to_string(files_max) + " files");
    for (zip_uint64_t i = 0; i < static_cast<zip_uint64_t>(count); ++i) {
      zip_stat_t stat;
      if (zip_stat_index(zip_.get(), i, 0, &stat) != 0) return fail(Fault::bad_data, std::string("the zip cannot be read: ") + zip_strerror(zip_.get()));
      constexpr zip_uint64_t needed = ZIP_STAT_NAME | ZIP_STAT_SIZE | ZIP_STAT_COMP_METHOD | ZIP_STAT_ENCRYPTION_METHOD;
      if ((stat.valid & needed) != needed) return fail(Fault::bad_data, "a file of the zip does not say what it is");
      if (auto listed = list(stat.name, stat.size); !listed) return listed;
      if (stat.encryption_method != ZIP_EM_NONE) return fail(Fault::bad_data, "it is encrypted", "", stat.name);
      if (stat.comp_method != ZIP_CM_STORE && stat.comp_method != ZIP_CM_DEFLATE) return fail(Fault::bad_data, "it is packed by a method that records do not use", "", stat.name);
      zip_uint8_t system = 0;
      zip_uint32_t attributes = 0;
      if (zip_file_get_external_attributes(zip_.get(), i, 0, &system, &attributes) == 0 && system == ZIP_OPSYS_UNIX && S_ISLNK(attributes >> 16)) return fail(Fault::bad_data, "it is a link", "", stat.name);
    }
    return {};
  }

  std::string zip_bytes_;
  Zip zip_;
};

class FolderContainer final : public Container {
 public:
  static Result<std::unique_ptr<Container>> open(const std::string& path) {
    auto container = std::make_unique<FolderContainer>();
    container->folder_ = path;
    std::error_code code;
    std::filesystem::directory_iterator entries(path, code);
    const std::filesystem::directory_iterator end;
    for (; !code && entries != end; entries.increment(code)) {
      const std::string name = entries->path().filename().string();
      struct stat seen {};
      if (lstat(entries->path().c_str(), &seen) != 0) return fail(Fault::io, std::strerror(errno), "", entries->path().string());
      if (S_ISLNK(seen.st_mode)) return fail(Fault::bad_data, "it is a link; a record holds plain files only", "", entries->path().string());
      if (S_ISDIR(seen.st_mode)) return fail(Fault::bad_data, "it is a folder; a record holds plain files only", "", entries->path().string());
      if (!S_ISREG(seen.st_mode)) return fail(Fault::bad_data, "it is no plain file", "", entries->path().string());
      if (auto listed = container->list(name, static_cast<std::uint64_t>(seen.st_size)); !listed) {
        Error error = listed.error();
        error.where = path;
        return tl::unexpected(error);
      }
    }
    if (code) return fail(Fault::io, code.message(), "", path);
    return container;
  }

  Result<std::string> read(const ListedFile& file) override {
    auto bytes = read_plain_file(folder_ + "/" + file.name, file.bytes);
    if (bytes && bytes->size() != file.bytes) return fail(Fault::bad_data, "it changes while it is read", "", file.name);
    return bytes;
  }

 private:
  std::string folder_;
};

Result<void> write_folder(const std::string& folder, const std::vector<NamedFile>& files) {
  std::error_code code;
  if (!std::filesystem::create_directory(folder, code)) return fail(Fault::cannot_create, "the folder cannot be made: " + (code ? code.message() : "it is there already"), "", folder);
  for (const NamedFile& file : files)
    if (auto written = write_new_file(folder + "/" + file.name, file.bytes); !written) return written;
  return {};
}

}  // namespace

bool is_plain_name(std::string_view name) {
  const auto fits = [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '.' || c == '-' || c == '_'; };
  return !name.empty() && name.size() <= name_length_max && name.front() != '.' && std::all_of(name.begin(), name.end(), fits);
}

Result<std::string> zip_of(const std::vector<NamedFile>& files) {
  zip_error_t error;
  zip_error_init(&error);
  Source source(zip_source_buffer_create(nullptr, 0, 0, &error));
  Zip zip(source ? zip_open_from_source(source.get(), ZIP_CREATE | ZIP_TRUNCATE, &error) : nullptr);
  if (!zip) return fail(Fault::io, "the zip cannot be made: " + text_of(error));
  zip_error_fini(&error);
  for (const NamedFile& file : files)
    if (auto added = add_to_zip(zip.get(), file); !added) return tl::unexpected(added.error());
  const std::string room(digest_hex_length, '0');
  if (zip_set_archive_comment(zip.get(), room.data(), digest_hex_length) != 0) return fail(Fault::io, std::string("the zip cannot be made: ") + zip_strerror(zip.get()));
  zip_source_keep(source.get());
  if (zip_close(zip.get()) != 0) {
    zip_source_free(source.get());
    return fail(Fault::io, std::string("the zip cannot be made: ") + zip_strerror(zip.get()));
  }
  (void)zip.release();
  zip_stat_t stat;
  zip_stat_init(&stat);
  if (zip_source_stat(source.get(), &stat) != 0 || zip_source_open(source.get()) != 0) return fail(Fault::io, "the zip cannot be read again");
  std::string bytes(stat.size, '\0');
  const zip_int64_t got = zip_source_read(source.get(), bytes.data(), bytes.size());
  zip_source_close(source.get());
  if (got != static_cast<zip_int64_t>(bytes.size()) || bytes.size() < digest_hex_length) return fail(Fault::io, "the zip cannot be read again");
  bytes.resize(bytes.size() - digest_hex_length);
  return bytes + sha256_hex(bytes);
}

Result<void> write_container(const std::string& out, const std::vector<NamedFile>& files) {
  std::string target = out;
  while (target.size() > 1 && target.back() == '/') target.pop_back();
  std::error_code code;
  if (std::filesystem::exists(std::filesystem::symlink_status(target, code))) return fail(Fault::cannot_create, "it is there already", "name another file: a record is never written over", target);
  const std::string unfinished = target + ".unfinished." + std::to_string(getpid());
  Result<void> written;
  if (target.ends_with(".zip")) {
    const auto zip = zip_of(files);
    if (!zip) return tl::unexpected(zip.error());
    written = write_new_file(unfinished, *zip);
  } else {
    written = write_folder(unfinished, files);
  }
  if (written && std::rename(unfinished.c_str(), target.c_str()) != 0) written = fail(Fault::cannot_create, std::string("cannot be given its name: ") + std::strerror(errno), "", target);
  if (!written) std::filesystem::remove_all(unfinished, code);
  return written;
}

const ListedFile* Container::find(std::string_view name) const {
  const auto found = std::find_if(files_.begin(), files_.end(), [&](const ListedFile& file) { return file.name == name; });
  return found == files_.end() ? nullptr : &*found;
}

Result<void> Container::list(std::string name, std::uint64_t bytes) {
  if (!is_plain_name(name)) return fail(Fault::bad_data, "a file of the record is called `" + shown(name) + "`", "a record holds plain names without folders; do not unpack this one");
  if (find(name) != nullptr) return fail(Fault::bad_data, "two files of the record are called `" + name + "`", "nobody can say which one is meant");
  if (files_.size() >= files_max) return fail(Fault::bad_data, "the record holds more than " + std::to_string(files_max) + " files");
  if (bytes > file_bytes_max || bytes_ + bytes > record_bytes_max)
    return fail(Fault::bad_data, "`" + name + "` claims " + std::to_string(bytes) + " bytes", "no record is that large; nothing of it was unpacked");
  bytes_ += bytes;
  files_.push_back({std::move(name), bytes});
  return {};
}

Result<std::unique_ptr<Container>> Container::open(const std::string& path) {
  struct stat seen {};
  if (stat(path.c_str(), &seen) != 0) return fail(Fault::bad_data, std::strerror(errno), "check the path", path);
  if (S_ISDIR(seen.st_mode)) return FolderContainer::open(path);
  if (!S_ISREG(seen.st_mode)) return fail(Fault::bad_data, "this is neither a folder nor a file", "", path);
  std::error_code code;
  const auto real = std::filesystem::canonical(path, code);
  return ZipContainer::open(code ? path : real.string());
}

}  // namespace steadyglow::seal
