#pragma once
/// Photos as somebody took them, made small enough for a page.
#include <memory>
#include <string>

#include <cairo.h>

#include "core/result.hpp"
#include "record/page_model.hpp"
#include "record/paint.hpp"

namespace steadyglow::record {

inline constexpr int photo_pixels_max = 40'000'000;  ///< of one that comes: more is a mistake or an attack
inline constexpr int photo_side_px = 1100;           ///< of one on a page: 300 to the inch at the width that it gets

class Image {
 public:
  explicit Image(Surface surface) : surface_(std::move(surface)) {}
  cairo_surface_t* surface() const { return surface_.get(); }
  double width() const { return cairo_image_surface_get_width(surface_.get()); }
  double height() const { return cairo_image_surface_get_height(surface_.get()); }

 private:
  Surface surface_;
};

/// JPEG or PNG. Fails with bad_data for anything else, and for more than photo_pixels_max.
Result<Image> read_photo(const std::string& bytes);
/// The same photo as a JPEG whose longer side has at most photo_side_px. Fails as read_photo().
Result<Photo> small_photo(const Photo& photo);

}  // namespace steadyglow::record
