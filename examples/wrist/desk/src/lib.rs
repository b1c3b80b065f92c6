//! Pictures as PNG, and how they are held against golden ones.

pub mod dump;
pub mod image;
pub mod stream;

use embedded_graphics::framebuffer::{Framebuffer, buffer_size};
use embedded_graphics::pixelcolor::raw::{BigEndian, LittleEndian, RawU1, RawU4};
use embedded_graphics::pixelcolor::{BinaryColor, Gray4};
use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::path::{Path, PathBuf};

/// One bit a pixel.
pub type BitPicture =
    Framebuffer<BinaryColor, RawU1, LittleEndian, 128, 64, { buffer_size::<BinaryColor>(128, 64) }>;
/// Four bits a pixel.
pub type GreyPicture = Framebuffer<Gray4, RawU4, BigEndian, 128, 64, { buffer_size::<Gray4>(128, 64) }>;

/// A picture as 128 × 64 grey values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture(pub Vec<u8>);

impl From<&BitPicture> for Picture {
    fn from(picture: &BitPicture) -> Self {
        use embedded_graphics::image::GetPixel;
        Self::by(|at| picture.pixel(at).is_some_and(BinaryColor::is_on) as u8 * 255)
    }
}

impl From<&GreyPicture> for Picture {
    fn from(picture: &GreyPicture) -> Self {
        use embedded_graphics::image::GetPixel;
        use embedded_graphics::prelude::GrayColor;
        Self::by(|at| picture.pixel(at).map_or(0, |grey| grey.luma() * 17))
    }
}

impl Picture {
    fn by(grey: impl Fn(embedded_graphics::prelude::Point) -> u8) -> Self {
        let places =
            (0..64).flat_map(|y| (0..128).map(move |x| embedded_graphics::prelude::Point::new(x, y)));
        Self(places.map(grey).collect())
    }

    /// From an SSD1306's memory: eight pages of 128 columns, the lowest bit on top.
    pub fn from_pages(pages: &[u8]) -> Self {
        Self::by(|at| (pages[(at.y / 8 * 128 + at.x) as usize] >> (at.y % 8) & 1) * 255)
    }

    /// From a PNG of this crate.
    pub fn read(path: &Path) -> Result<Self, String> {
        let fail = |what: &dyn std::fmt::Display| format!("{}: {what}", path.display());
        let file = File::open(path).map_err(|e| fail(&e))?;
        let mut reader = png::Decoder::new(BufReader::new(file)).read_info().map_err(|e| fail(&e))?;
        let mut grey = vec![0; reader.output_buffer_size().ok_or_else(|| fail(&"too large"))?];
        reader.next_frame(&mut grey).map_err(|e| fail(&e))?;
        if grey.len() == 128 * 64 { Ok(Self(grey)) } else { Err(fail(&"not 128 by 64 grey values")) }
    }

    /// To a PNG of grey values.
    pub fn write(&self, path: &Path) -> Result<(), String> {
        write_grey(path, 128, &self.0)
    }

    /// How many pixels differ.
    pub fn differences(&self, other: &Self) -> usize {
        self.0.iter().zip(&other.0).filter(|(a, b)| a != b).count()
    }
}

fn write_grey(path: &Path, width: usize, grey: &[u8]) -> Result<(), String> {
    let fail = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
    let file = File::create(path).map_err(|e| fail(&e))?;
    let mut encoder = png::Encoder::new(BufWriter::new(file), width as u32, (grey.len() / width) as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.write_header().and_then(|mut writer| writer.write_image_data(grey)).map_err(|e| fail(&e))
}

/// Pictures side by side in `columns`, three times their size, on grey.
pub fn sheet(pictures: &[Picture], columns: usize, path: &Path) -> Result<(), String> {
    const SCALE: usize = 3;
    const MARGIN: usize = 8;
    let (across, down) = (128 * SCALE + MARGIN, 64 * SCALE + MARGIN);
    let columns = columns.clamp(1, pictures.len().max(1));
    let (width, height) = (columns * across + MARGIN, pictures.len().div_ceil(columns) * down + MARGIN);
    let mut grey = vec![96; width * height];
    for (i, picture) in pictures.iter().enumerate() {
        let (left, top) = (MARGIN + i % columns * across, MARGIN + i / columns * down);
        for y in 0..64 * SCALE {
            for x in 0..128 * SCALE {
                grey[(top + y) * width + left + x] = picture.0[y / SCALE * 128 + x / SCALE];
            }
        }
    }
    write_grey(path, width, &grey)
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
