//! Pictures as PNG, and how they are held against golden ones.

pub mod dump;
pub mod image;
pub mod settings;
pub mod stream;

use embedded_graphics::framebuffer::{Framebuffer, buffer_size};
use embedded_graphics::image::GetPixel;
use embedded_graphics::pixelcolor::raw::{BigEndian, LittleEndian, RawU1, RawU4, RawU16};
use embedded_graphics::pixelcolor::{BinaryColor, Gray4, Rgb565};
use embedded_graphics::prelude::*;
use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::path::{Path, PathBuf};
use wrist::face::Face;
use wrist::screen::{Layout, Page, SLIM, SQUARE, WIDE, draw_on};

/// One bit a pixel.
pub type BitPicture =
    Framebuffer<BinaryColor, RawU1, LittleEndian, 128, 64, { buffer_size::<BinaryColor>(128, 64) }>;
/// Four bits a pixel.
pub type GreyPicture = Framebuffer<Gray4, RawU4, BigEndian, 128, 64, { buffer_size::<Gray4>(128, 64) }>;
/// One bit a pixel, half as high.
pub type SlimPicture =
    Framebuffer<BinaryColor, RawU1, LittleEndian, 128, 32, { buffer_size::<BinaryColor>(128, 32) }>;
/// Colours.
pub type ColourPicture =
    Framebuffer<Rgb565, RawU16, BigEndian, 240, 240, { buffer_size::<Rgb565>(240, 240) }>;

/// Grey values, or red, green and blue in turn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Pixels in a row.
    pub width: usize,
    /// Bytes a pixel: 1 or 3.
    pub depth: usize,
    /// Row after row.
    pub bytes: Vec<u8>,
}

/// The displays that the wrist draws on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Display {
    /// 128 × 64, one bit.
    Bit,
    /// 128 × 64, sixteen greys.
    Grey,
    /// 128 × 32, one bit.
    Slim,
    /// 240 × 240, colours.
    Colour,
}

impl Display {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Bit, Self::Grey, Self::Slim, Self::Colour];

    /// What stands behind a golden picture's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Bit => "bit",
            Self::Grey => "grey",
            Self::Slim => "slim",
            Self::Colour => "colour",
        }
    }

    /// Where everything stands on it.
    #[must_use]
    pub const fn layout(self) -> &'static Layout {
        match self {
            Self::Bit | Self::Grey => &WIDE,
            Self::Slim => &SLIM,
            Self::Colour => &SQUARE,
        }
    }

    /// Its pixels across and down.
    #[must_use]
    pub const fn size(self) -> Size {
        self.layout().size
    }

    /// Draws `face`.
    #[must_use]
    pub fn draw(self, face: &Face<'_>, page: Page) -> Picture {
        match self {
            Self::Bit => {
                let mut picture = Box::new(BitPicture::new());
                let Ok(()) = draw_on(face, page, &WIDE, picture.as_mut());
                Picture::from(picture.as_ref())
            }
            Self::Grey => {
                let mut picture = Box::new(GreyPicture::new());
                let Ok(()) = draw_on(face, page, &WIDE, picture.as_mut());
                Picture::from(picture.as_ref())
            }
            Self::Slim => {
                let mut picture = Box::new(SlimPicture::new());
                let Ok(()) = draw_on(face, page, &SLIM, picture.as_mut());
                Picture::bits(picture.as_ref(), self)
            }
            Self::Colour => {
                let mut picture = Box::new(ColourPicture::new());
                let Ok(()) = draw_on(face, page, &SQUARE, picture.as_mut());
                let whole = |part: u8, most: u8| (u32::from(part) * 255 / u32::from(most)) as u8;
                let bytes = picture.data().chunks_exact(2).flat_map(|pixel| {
                    let colour = Rgb565::from(RawU16::new(u16::from_be_bytes([pixel[0], pixel[1]])));
                    [whole(colour.r(), 31), whole(colour.g(), 63), whole(colour.b(), 31)]
                });
                Picture { width: self.size().width as usize, depth: 3, bytes: bytes.collect() }
            }
        }
    }
}

fn places(size: Size) -> impl Iterator<Item = Point> {
    (0..size.height as i32).flat_map(move |y| (0..size.width as i32).map(move |x| Point::new(x, y)))
}

impl From<&BitPicture> for Picture {
    fn from(picture: &BitPicture) -> Self {
        Self::bits(picture, Display::Bit)
    }
}

impl From<&GreyPicture> for Picture {
    fn from(picture: &GreyPicture) -> Self {
        Self::by(Display::Grey, |at| picture.pixel(at).map_or(0, |grey| grey.luma() * 17))
    }
}

impl Picture {
    fn bits(picture: &impl GetPixel<Color = BinaryColor>, display: Display) -> Self {
        Self::by(display, |at| picture.pixel(at).is_some_and(BinaryColor::is_on) as u8 * 255)
    }

    fn by(display: Display, grey: impl Fn(Point) -> u8) -> Self {
        Self::grey(display.size().width as usize, places(display.size()).map(grey).collect())
    }

    /// Of grey values, row after row.
    #[must_use]
    pub const fn grey(width: usize, bytes: Vec<u8>) -> Self {
        Self { width, depth: 1, bytes }
    }

    /// From an SSD1306's memory: pages of 128 columns, the lowest bit on top.
    pub fn from_pages(pages: &[u8]) -> Self {
        Self::by(Display::Bit, |at| (pages[(at.y / 8 * 128 + at.x) as usize] >> (at.y % 8) & 1) * 255)
    }

    /// From a PNG of this crate.
    pub fn read(path: &Path) -> Result<Self, String> {
        let fail = |what: &dyn std::fmt::Display| format!("{}: {what}", path.display());
        let file = File::open(path).map_err(|e| fail(&e))?;
        let mut reader = png::Decoder::new(BufReader::new(file)).read_info().map_err(|e| fail(&e))?;
        let mut bytes = vec![0; reader.output_buffer_size().ok_or_else(|| fail(&"too large"))?];
        let frame = reader.next_frame(&mut bytes).map_err(|e| fail(&e))?;
        let depth = match (frame.color_type, frame.bit_depth) {
            (png::ColorType::Grayscale, png::BitDepth::Eight) => 1,
            (png::ColorType::Rgb, png::BitDepth::Eight) => 3,
            _ => return Err(fail(&"neither grey values nor colours of a byte")),
        };
        Ok(Self { width: frame.width as usize, depth, bytes })
    }

    /// To a PNG of grey values or colours.
    pub fn write(&self, path: &Path) -> Result<(), String> {
        let fail = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
        let file = File::create(path).map_err(|e| fail(&e))?;
        let mut encoder = png::Encoder::new(BufWriter::new(file), self.width as u32, self.height() as u32);
        encoder.set_color(if self.depth == 3 { png::ColorType::Rgb } else { png::ColorType::Grayscale });
        let written = encoder.write_header().and_then(|mut writer| writer.write_image_data(&self.bytes));
        written.map_err(|e| fail(&e))
    }

    /// Rows.
    #[must_use]
    pub fn height(&self) -> usize {
        self.bytes.len() / self.width / self.depth
    }

    /// A pixel's red, green and blue.
    #[must_use]
    pub fn pixel(&self, x: usize, y: usize) -> [u8; 3] {
        let at = (y * self.width + x) * self.depth;
        core::array::from_fn(|part| self.bytes[at + if self.depth == 3 { part } else { 0 }])
    }

    /// How many pixels differ; all of them when the sizes do.
    #[must_use]
    pub fn differences(&self, other: &Self) -> usize {
        if (self.width, self.depth, self.bytes.len()) != (other.width, other.depth, other.bytes.len()) {
            return self.bytes.len() / self.depth;
        }
        self.bytes.chunks(self.depth).zip(other.bytes.chunks(self.depth)).filter(|(a, b)| a != b).count()
    }
}

/// Pictures side by side in `columns`, `scale` times their size, on grey.
pub fn sheet(pictures: &[Picture], columns: usize, scale: usize, path: &Path) -> Result<(), String> {
    const MARGIN: usize = 8;
    let largest = |of: fn(&Picture) -> usize| pictures.iter().map(of).max().unwrap_or(0) * scale + MARGIN;
    let (across, down) = (largest(|picture| picture.width), largest(Picture::height));
    let columns = columns.clamp(1, pictures.len().max(1));
    let (width, height) = (columns * across + MARGIN, pictures.len().div_ceil(columns) * down + MARGIN);
    let mut whole = Picture { width, depth: 3, bytes: vec![96; width * height * 3] };
    for (i, picture) in pictures.iter().enumerate() {
        let (left, top) = (MARGIN + i % columns * across, MARGIN + i / columns * down);
        for y in 0..picture.height() * scale {
            for x in 0..picture.width * scale {
                let at = ((top + y) * width + left + x) * 3;
                whole.bytes[at..at + 3].copy_from_slice(&picture.pixel(x / scale, y / scale));
            }
        }
    }
    whole.write(path)
}

/// Where the golden files are.
pub fn golden() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../golden")
}

/// Whether golden files are to be written and not compared: `WRIST_BLESS=1`.
pub fn blessing() -> bool {
    std::env::var_os("WRIST_BLESS").is_some()
}

/// Holds `picture` against `golden/NAME.png`; a differing one is kept in the target folder.
pub fn check(picture: &Picture, name: &str) -> Result<(), String> {
    let path = golden().join(name).with_extension("png");
    if blessing() {
        return picture.write(&path);
    }
    let differences = picture.differences(&Picture::read(&path)?);
    if differences == 0 {
        return Ok(());
    }
    let kept = std::env::temp_dir().join(format!("wrist-{}.png", name.replace('/', "-")));
    picture.write(&kept)?;
    Err(format!("{name}: {differences} pixels differ; see {}", kept.display()))
}
