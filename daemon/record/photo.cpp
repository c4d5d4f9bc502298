#include "record/photo.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <csetjmp>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <vector>

#include <jpeglib.h>

namespace steadyglow::record {
namespace {

constexpr int quality = 84;

/// libjpeg calls exit() unless it is told where to jump.
struct Jump {
  jpeg_error_mgr manager;
  std::jmp_buf back;
};
void jump_back(j_common_ptr common) { std::longjmp(reinterpret_cast<Jump*>(common->err)->back, 1); }
void say_nothing(j_common_ptr, int) {}
void say_nothing_either(j_common_ptr) {}

void be_quiet(Jump& jump) {
  jump.manager.error_exit = jump_back;
  jump.manager.emit_message = say_nothing;
  jump.manager.output_message = say_nothing_either;
}

/// Plain C inside: nothing with a destructor may stand between setjmp and longjmp. False: no JPEG, or too large.
bool decode_jpeg(const unsigned char* bytes, std::size_t size, cairo_surface_t*& surface) {
  jpeg_decompress_struct from{};
  Jump jump{};
  from.err = jpeg_std_error(&jump.manager);
  be_quiet(jump);
  cairo_surface_t* volatile made = nullptr;
  unsigned char* volatile row = nullptr;
  if (setjmp(jump.back) != 0) {
    jpeg_destroy_decompress(&from);
    if (made != nullptr) cairo_surface_destroy(made);
    std::free(row);
    return false;
  }
  jpeg_create_decompress(&from);
  jpeg_mem_src(&from, bytes, size);
  if (jpeg_read_header(&from, TRUE) != JPEG_HEADER_OK || static_cast<double>(from.image_width) * from.image_height > photo_pixels_max) std::longjmp(jump.back, 1);
  from.out_color_space = JCS_RGB;
  // The decoder itself halves what is far too large: less memory, and less time.
  from.scale_num = 1;
  from.scale_denom = 1;
  while (from.scale_denom < 8 && std::max(from.image_width, from.image_height) / (from.scale_denom * 2) >= static_cast<unsigned>(photo_side_px)) from.scale_denom *= 2;
  jpeg_start_decompress(&from);
  made = cairo_image_surface_create(CAIRO_FORMAT_RGB24, static_cast<int>(from.output_width), static_cast<int>(from.output_height));
  row = static_cast<unsigned char*>(std::malloc(std::size_t{3} * from.output_width));
  if (cairo_surface_status(made) != CAIRO_STATUS_SUCCESS || row == nullptr) std::longjmp(jump.back, 1);
  unsigned char* const pixels = cairo_image_surface_get_data(made);
  const int stride = cairo_image_surface_get_stride(made);
  while (from.output_scanline < from.output_height) {
    unsigned char* const target = pixels + static_cast<std::ptrdiff_t>(from.output_scanline) * stride;
    JSAMPROW rows[1] = {row};
    jpeg_read_scanlines(&from, rows, 1);
    for (unsigned x = 0; x < from.output_width; ++x) {
      const std::uint32_t pixel = static_cast<std::uint32_t>(row[3 * x]) << 16 | static_cast<std::uint32_t>(row[3 * x + 1]) << 8 | row[3 * x + 2];
      std::memcpy(target + std::size_t{4} * x, &pixel, 4);
    }
  }
  cairo_surface_mark_dirty(made);
  jpeg_finish_decompress(&from);
  jpeg_destroy_decompress(&from);
  std::free(row);
  surface = made;
  return true;
}

bool encode_jpeg(cairo_surface_t* surface, unsigned char*& bytes, unsigned long& size) {
  jpeg_compress_struct to{};
  Jump jump{};
  to.err = jpeg_std_error(&jump.manager);
  be_quiet(jump);
  unsigned char* volatile row = nullptr;
  if (setjmp(jump.back) != 0) {
    jpeg_destroy_compress(&to);
    std::free(row);
    return false;
  }
  jpeg_create_compress(&to);
  jpeg_mem_dest(&to, &bytes, &size);
  to.image_width = static_cast<JDIMENSION>(cairo_image_surface_get_width(surface));
  to.image_height = static_cast<JDIMENSION>(cairo_image_surface_get_height(surface));
  to.input_components = 3;
  to.in_color_space = JCS_RGB;
  jpeg_set_defaults(&to);
  jpeg_set_quality(&to, quality, TRUE);
  jpeg_start_compress(&to, TRUE);
  row = static_cast<unsigned char*>(std::malloc(std::size_t{3} * to.image_width));
  if (row == nullptr) std::longjmp(jump.back, 1);
  const unsigned char* const pixels = cairo_image_surface_get_data(surface);
  const int stride = cairo_image_surface_get_stride(surface);
  while (to.next_scanline < to.image_height) {
    const unsigned char* const source = pixels + static_cast<std::ptrdiff_t>(to.next_scanline) * stride;
    for (unsigned x = 0; x < to.image_width; ++x) {
      std::uint32_t pixel = 0;
      std::memcpy(&pixel, source + std::size_t{4} * x, 4);
      row[3 * x] = static_cast<unsigned char>(pixel >> 16);
      row[3 * x + 1] = static_cast<unsigned char>(pixel >> 8);
      row[3 * x + 2] = static_cast<unsigned char>(pixel);
    }
    JSAMPROW rows[1] = {row};
    jpeg_write_scanlines(&to, rows, 1);
  }
  jpeg_finish_compress(&to);
  jpeg_destroy_compress(&to);
  std::free(row);
  return true;
}

std::uint32_t big_endian(const std::string& bytes, std::size_t at) {
  std::uint32_t value = 0;
  for (std::size_t i = 0; i < 4; ++i) value = value << 8 | static_cast<unsigned char>(bytes[at + i]);
  return value;
}

/// Width and height stand in the first chunk (PNG specification, 11.2.2 IHDR).
bool is_png_within_bounds(const std::string& bytes) {
  constexpr std::size_t header = 24;
  return bytes.size() > header && static_cast<double>(big_endian(bytes, 16)) * big_endian(bytes, 20) <= photo_pixels_max;
}

Surface decode_png(const std::string& bytes) {
  struct Source {
    const std::string& bytes;
    std::size_t at = 0;
  } source{bytes};
  const auto read = [](void* from, unsigned char* to, unsigned size) {
    auto& rest = *static_cast<Source*>(from);
    if (rest.bytes.size() - rest.at < size) return CAIRO_STATUS_READ_ERROR;
    std::memcpy(to, rest.bytes.data() + rest.at, size);
    rest.at += size;
    return CAIRO_STATUS_SUCCESS;
  };
  return Surface(cairo_image_surface_create_from_png_stream(read, &source));
}

}  // namespace

Result<Image> read_photo(const std::string& bytes) {
  const auto refuse = [](std::string why) { return fail(Fault::bad_data, "a photo cannot be read: " + std::move(why), "take it as JPEG or PNG again"); };
  if (bytes.starts_with("\xff\xd8")) {
    cairo_surface_t* surface = nullptr;
    if (!decode_jpeg(reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size(), surface)) return refuse(fmt::format("it is damaged, has colours for a press, or more than {} million pixels", photo_pixels_max / 1'000'000));
    Image image{Surface(surface)};
    // It goes into a PDF as it is, and not as pixels.
    auto* copy = new std::string(bytes);
    const auto drop = [](void* data) { delete static_cast<std::string*>(data); };
    if (image.width() <= photo_side_px && image.height() <= photo_side_px)
      cairo_surface_set_mime_data(surface, CAIRO_MIME_TYPE_JPEG, reinterpret_cast<const unsigned char*>(copy->data()), copy->size(), drop, copy);
    else delete copy;
    return image;
  }
  if (!bytes.starts_with("\x89PNG\r\n\x1a\n")) return refuse("it is neither JPEG nor PNG");
  if (!is_png_within_bounds(bytes)) return refuse(fmt::format("it has more than {} million pixels", photo_pixels_max / 1'000'000));
  Surface surface = decode_png(bytes);
  if (cairo_surface_status(surface.get()) != CAIRO_STATUS_SUCCESS) return refuse("it is damaged");
  return Image(std::move(surface));
}

Result<Photo> small_photo(const Photo& photo) {
  const auto image = read_photo(photo.bytes);
  if (!image) return tl::unexpected(image.error());
  const double share = std::min(1.0, photo_side_px / std::max(image->width(), image->height()));
  const int width = std::max(1, static_cast<int>(image->width() * share)), height = std::max(1, static_cast<int>(image->height() * share));
  const Surface small(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height));
  const Context context(cairo_create(small.get()));
  use(context.get(), Ink::ground);
  cairo_paint(context.get());
  cairo_scale(context.get(), width / image->width(), height / image->height());
  cairo_set_source_surface(context.get(), image->surface(), 0.0, 0.0);
  cairo_pattern_set_filter(cairo_get_source(context.get()), CAIRO_FILTER_GOOD);
  cairo_paint(context.get());
  cairo_surface_flush(small.get());
  unsigned char* bytes = nullptr;
  unsigned long size = 0;
  const bool is_made = encode_jpeg(small.get(), bytes, size);
  const std::unique_ptr<unsigned char, Freed<std::free>> owner(bytes);
  if (!is_made) return fail(Fault::io, "a photo could not be made smaller");
  return Photo{std::string(reinterpret_cast<const char*>(bytes), size), photo.alt, photo.caption};
}

}  // namespace steadyglow::record
