//! Rendering: SVG to PNG and PDF, grids to PNG.

use std::sync::Arc;

use krilla::Document;
use krilla::geom::Size;
use krilla::page::PageSettings;
use krilla_svg::{SurfaceExt, SvgSettings};
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{self, fontdb};

use crate::error::Result;
use crate::frame::MM_PER_PX;
use crate::grid::Grid;
use crate::length::MM_PER_INCH;

use super::lettering::FONTS;
use super::{Sheet, fault};

/// Points in one inch (ISO 32000-1, 8.3.2.3).
const PT_PER_INCH: f64 = 72.0;

/// The fonts of the sheets, ready to render with.
pub struct Fonts(Arc<fontdb::Database>);

impl Fonts {
    pub fn load() -> Self {
        let mut fonts = fontdb::Database::new();
        for font in FONTS {
            fonts.load_font_data(font.to_vec());
        }
        Self(Arc::new(fonts))
    }
}

fn parse(sheet: &Sheet, fonts: &Fonts) -> Result<usvg::Tree> {
    let options = usvg::Options {
        fontdb: fonts.0.clone(),
        font_family: "DejaVu Sans".into(),
        ..Default::default()
    };
    usvg::Tree::from_str(&sheet.svg, &options).map_err(fault)
}

/// Renders a sheet to PNG at `dpi` dots per inch, which the file also records.
///
/// # Errors
/// If the sheet is not valid SVG.
pub fn png(sheet: &Sheet, dpi: f64, fonts: &Fonts) -> Result<Vec<u8>> {
    png_below(sheet, None, dpi, fonts)
}

/// What many pictures show on top, drawn once: its pixels that are not clear, multiplied by alpha, with their places.
pub struct Layer(Vec<(u32, [u8; 4])>);

impl Layer {
    /// # Errors
    /// If the sheet is not valid SVG.
    pub fn of(sheet: &Sheet, dpi: f64, fonts: &Fonts) -> Result<Self> {
        let drawn = draw(sheet, Color::TRANSPARENT, dpi, fonts)?;
        let pixels = (0..).zip(drawn.data().as_chunks::<4>().0.iter().copied());
        Ok(Self(pixels.filter(|(_, pixel)| pixel[3] > 0).collect()))
    }

    /// Lays it over opaque pixels (Porter and Duff 1984).
    fn lie_on(&self, pixels: &mut [[u8; 4]]) {
        for &(i, above) in &self.0 {
            let pixel = &mut pixels[i as usize];
            let through = 255 - u32::from(above[3]);
            if through == 0 {
                *pixel = above;
                continue;
            }
            for (below, above) in pixel.iter_mut().zip(above) {
                *below = above + ((u32::from(*below) * through + 127) / 255) as u8;
            }
        }
    }
}

/// [`png`] with a layer of the same size on top.
///
/// # Errors
/// If the sheet is not valid SVG.
pub fn png_below(sheet: &Sheet, layer: Option<&Layer>, dpi: f64, fonts: &Fonts) -> Result<Vec<u8>> {
    let mut pixmap = draw(sheet, Color::WHITE, dpi, fonts)?;
    if let Some(layer) = layer {
        layer.lie_on(pixmap.data_mut().as_chunks_mut().0);
    }
    let (width, height) = (pixmap.width(), pixmap.height());
    let rgb = without_alpha(pixmap.take());
    let per_meter = (dpi / MM_PER_INCH * 1000.0).round() as u32;
    encode(
        width,
        height,
        png::ColorType::Rgb,
        png::BitDepth::Eight,
        &rgb,
        per_meter,
    )
}

fn draw(sheet: &Sheet, ground: Color, dpi: f64, fonts: &Fonts) -> Result<Pixmap> {
    let tree = parse(sheet, fonts)?;
    let px = |mm: f64| ((mm / MM_PER_INCH * dpi).round() as u32).max(1);
    let (width, height) = (px(sheet.width_mm), px(sheet.height_mm));
    let mut pixmap = Pixmap::new(width, height).ok_or_else(|| fault("no pixels"))?;
    pixmap.fill(ground);
    let scale = Transform::from_scale(
        width as f32 / tree.size().width(),
        height as f32 / tree.size().height(),
    );
    resvg::render(&tree, scale, &mut pixmap.as_mut());
    Ok(pixmap)
}

/// The colors of opaque pixels of four bytes, in the same memory: fresh memory of that size takes longer than the copying.
fn without_alpha(mut pixels: Vec<u8>) -> Vec<u8> {
    let count = pixels.len() / 4;
    for i in 0..count / 4 {
        // Four pixels as one number, the first byte the lowest.
        let mut bytes = [0; 16];
        bytes.copy_from_slice(&pixels[16 * i..][..16]);
        let all = u128::from_le_bytes(bytes);
        let color = |k: u32| (all >> (32 * k)) & 0xff_ffff;
        let packed = color(0) | color(1) << 24 | color(2) << 48 | color(3) << 72;
        pixels[12 * i..][..12].copy_from_slice(&packed.to_le_bytes()[..12]);
    }
    for i in count / 4 * 4..count {
        pixels.copy_within(4 * i..4 * i + 3, 3 * i);
    }
    pixels.truncate(3 * count);
    pixels
}

/// Renders sheets as the pages of one PDF, at true size, with text as text and fonts embedded.
///
/// # Errors
/// If a sheet is not valid SVG.
pub fn pdf(sheets: &[Sheet], fonts: &Fonts) -> Result<Vec<u8>> {
    let mut document = Document::new();
    for sheet in sheets {
        let tree = parse(sheet, fonts)?;
        let pt = |mm: f64| (mm / MM_PER_INCH * PT_PER_INCH) as f32;
        let (width, height) = (pt(sheet.width_mm), pt(sheet.height_mm));
        let settings =
            PageSettings::from_wh(width, height).ok_or_else(|| fault("a page without size"))?;
        let size = Size::from_wh(width, height).ok_or_else(|| fault("a page without size"))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        surface
            .draw_svg(&tree, size, SvgSettings::default())
            .ok_or_else(|| fault("not a drawing"))?;
        surface.finish();
        page.finish();
    }
    document.finish().map_err(|e| fault(format!("{e:?}")))
}

/// A picture in the working frame as PNG, with its scale.
///
/// # Errors
/// If it has no pixels.
pub fn encode_rgb(picture: &Grid<[u8; 3]>) -> Result<Vec<u8>> {
    encode_grid(
        picture,
        png::ColorType::Rgb,
        png::BitDepth::Eight,
        picture.data.as_flattened(),
    )
}

pub fn encode_gray8(picture: &Grid<u8>) -> Result<Vec<u8>> {
    encode_grid(
        picture,
        png::ColorType::Grayscale,
        png::BitDepth::Eight,
        &picture.data,
    )
}

pub fn encode_gray16(picture: &Grid<u16>) -> Result<Vec<u8>> {
    let bytes: Vec<u8> = picture.data.iter().flat_map(|v| v.to_be_bytes()).collect();
    encode_grid(
        picture,
        png::ColorType::Grayscale,
        png::BitDepth::Sixteen,
        &bytes,
    )
}

fn encode_grid<T>(
    grid: &Grid<T>,
    color: png::ColorType,
    depth: png::BitDepth,
    bytes: &[u8],
) -> Result<Vec<u8>> {
    encode(
        grid.width as u32,
        grid.height as u32,
        color,
        depth,
        bytes,
        (1000.0 / MM_PER_PX).round() as u32,
    )
}

fn encode(
    width: u32,
    height: u32,
    color: png::ColorType,
    depth: png::BitDepth,
    bytes: &[u8],
    pixels_per_meter: u32,
) -> Result<Vec<u8>> {
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_color(color);
    encoder.set_depth(depth);
    encoder.set_compression(png::Compression::Fast);
    // Areas of one color: the row above tells all, and adaptive filtering takes longer than drawing.
    encoder.set_filter(png::Filter::Up);
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: pixels_per_meter,
        yppu: pixels_per_meter,
        unit: png::Unit::Meter,
    }));
    let mut writer = encoder.write_header().map_err(fault)?;
    writer.write_image_data(bytes).map_err(fault)?;
    writer.finish().map_err(fault)?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheets::svg::Svg;
    use kurbo::Rect;

    #[test]
    fn colors_come_out_of_any_number_of_pixels() {
        for count in 0..10u8 {
            let pixels = (0..count).flat_map(|k| [k, 100 + k, 200 + k, 255]);
            let colors = (0..count).flat_map(|k| [k, 100 + k, 200 + k]);
            let found = without_alpha(pixels.collect());
            assert_eq!(found, colors.collect::<Vec<u8>>());
        }
    }

    #[test]
    fn a_layer_over_a_sheet_is_the_sheet_with_what_is_on_the_layer() {
        let ground = |svg: &mut Svg| {
            svg.rect(Rect::new(1.0, 1.0, 7.0, 5.0)).fill("#b3005e");
        };
        // Slanted, so that its edges are half seen through.
        let ink = |svg: &mut Svg| {
            svg.path("M0.5 0.4L9.2 5.1L8.7 5.8L0.3 1.1Z")
                .fill("#2d2d33");
        };
        let sheet = |draw: &dyn Fn(&mut Svg)| {
            let mut svg = Svg::new((10.0, 6.0));
            draw(&mut svg);
            svg.sheet()
        };
        let (fonts, dpi) = (Fonts::load(), 254.0);
        let both = sheet(&|svg| {
            ground(svg);
            ink(svg);
        });
        let layer = Layer::of(&sheet(&ink), dpi, &fonts).unwrap();
        let pixels = |png: Vec<u8>| image::load_from_memory(&png).unwrap().into_rgb8();
        let at_once = pixels(png(&both, dpi, &fonts).unwrap());
        let over = pixels(png_below(&sheet(&ground), Some(&layer), dpi, &fonts).unwrap());
        assert_eq!(at_once.dimensions(), (100, 60));
        for (p, q) in at_once.pixels().zip(over.pixels()) {
            let off = (0..3).map(|c| p[c].abs_diff(q[c])).max();
            assert!(off <= Some(2), "{p:?} {q:?}");
        }
    }
}
