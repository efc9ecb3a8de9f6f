"""Samples reach a measurement as they lie in the file, and their depth is found or told."""

from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from numpy.testing import assert_array_equal
from PIL import Image

from linesim.files.images_out import write_tiff
from linesim.files.samples_in import load_samples, read_samples, samples_of
from linesim.setup.errors import InputError


def noise(highest: int, shape: tuple[int, ...] = (30, 40)) -> np.ndarray:
    """Give samples from 0 to the highest, which is there."""
    samples = np.random.default_rng(3).integers(0, highest, shape, np.uint16, endpoint=True)
    samples.flat[0] = highest
    return samples


@pytest.mark.parametrize("shape", [(30, 40), (30, 40, 3)])
@pytest.mark.parametrize("ending", ["tif", "png"])
def test_samples_come_back_as_written(tmp_path: Path, ending: str, shape: tuple[int, ...]) -> None:
    """What tifffile or libpng put into a file is what comes out, neither decoded nor scaled."""
    samples, path = noise(4095, shape), tmp_path / f"a.{ending}"
    if ending == "tif":
        tifffile.imwrite(path, samples, photometric="rgb" if len(shape) == 3 else "minisblack")
    else:
        path.write_bytes(bytes(imagecodecs.png_encode(samples)))
    found, full_scale_dn = read_samples(path)
    assert_array_equal(found, samples)
    assert (found.dtype.name, full_scale_dn) == ("uint16", 4095)


def test_a_scan_comes_back_as_delivered(tmp_path: Path) -> None:
    """Our own TIFF of 8 bit and of 14 bit in 16."""
    write_tiff(tmp_path / "a.tif", noise(255).astype(np.uint8))
    write_tiff(tmp_path / "b.tif", noise(16_000))
    eight, fourteen = load_samples(tmp_path / "a.tif"), load_samples(tmp_path / "b.tif")
    assert_array_equal(eight.image_dn, noise(255))
    assert (eight.bit_depth, eight.full_scale_dn, eight.depth_from) == (8, 255, "as the file says")
    assert_array_equal(fourteen.image_dn, noise(16_000))
    assert (fourteen.bit_depth, fourteen.full_scale_dn) == (14, 16_383)
    assert (eight.cautions, fourteen.cautions) == ((), ())


@pytest.mark.parametrize(
    ("highest", "bits"),
    [(0, 10), (1023, 10), (1024, 12), (4095, 12), (4096, 14), (16_383, 14), (16_384, 16)],
)
def test_the_smallest_usual_depth_is_taken(tmp_path: Path, highest: int, bits: int) -> None:
    """At each power of two the next usual depth begins, and the output can say it is a guess."""
    samples = noise(highest)
    samples.flat[1] = min(highest, 1)  # odd, so that no low bit is free
    tifffile.imwrite(tmp_path / "a.tif", samples)
    found = load_samples(tmp_path / "a.tif")
    assert (found.bit_depth, found.full_scale_dn) == (bits, 2**bits - 1)
    assert found.depth_from == "smallest usual depth that holds the samples"


def test_a_stated_depth_wins_where_it_can(tmp_path: Path) -> None:
    """12 bit stated for a dark frame; 8 bit stated for the same are refused with both numbers."""
    tifffile.imwrite(tmp_path / "a.tif", noise(300))
    found = load_samples(tmp_path / "a.tif", bit_depth=12)
    assert (found.full_scale_dn, found.depth_from) == (4095, "as stated")
    with pytest.raises(InputError, match=r"holds the sample 300 DN, but 8 bit end at 255 DN; exp"):
        load_samples(tmp_path / "a.tif", bit_depth=8)
    with pytest.raises(
        InputError, match=r"have 17 bit, but holds samples of 16; expected a depth of"
    ):
        load_samples(tmp_path / "a.tif", bit_depth=17)


def test_a_depth_in_the_file_is_believed(tmp_path: Path) -> None:
    """TIFF 6.0, tag 258: 12 bits a sample, packed; a dark image stays one of 12 bit."""
    tifffile.imwrite(tmp_path / "a.tif", noise(200), bitspersample=12)
    found = load_samples(tmp_path / "a.tif")
    assert_array_equal(found.image_dn, noise(200))
    assert (found.bit_depth, found.depth_from) == (12, "as the file says")


def test_shifted_samples_are_told(tmp_path: Path) -> None:
    """12 bit in the upper bits of 16: kept, full scale at 4095 x 16, so that clipping is seen."""
    tifffile.imwrite(tmp_path / "a.tif", noise(4095) << 4)
    found = load_samples(tmp_path / "a.tif", key="IMAGE")
    assert_array_equal(found.image_dn, noise(4095) << 4)
    assert (found.bit_depth, found.full_scale_dn) == (12, 65_520)
    (caution,) = found.cautions
    assert caution.startswith(f'IMAGE "{tmp_path / "a.tif"}": its samples are shifted up')


def test_what_is_no_sample_is_refused(tmp_path: Path) -> None:
    """Floats, transparency, a missing file: one sentence each, by the readers' own words."""
    tifffile.imwrite(tmp_path / "f.tif", np.ones((4, 5), np.float32))
    Image.fromarray(noise(255, (4, 5, 4)).astype(np.uint8)).save(tmp_path / "t.png")
    (tmp_path / "n.tif").write_bytes(b"no image")
    for name, told in (
        ("f.tif", "holds floats; expected integer samples"),
        ("t.png", "is partly transparent; expected an opaque image"),
        ("n.tif", "is a text file, not an image; expected a PNG, TIFF or JPEG image"),
        ("m.tif", "does not exist"),
    ):
        with pytest.raises(InputError) as caught:
            read_samples(tmp_path / name)
        assert f'image "{tmp_path / name}" {told}' in str(caught.value)


def test_jpeg_and_turned_images_are_told(tmp_path: Path) -> None:
    """A lossy file and one whose tag turns lines into columns (Exif orientation 6) say so."""
    picture = Image.fromarray(noise(255, (24, 16)).astype(np.uint8))
    exif = Image.Exif()
    exif[0x0112] = 6
    picture.save(tmp_path / "a.jpg", exif=exif)
    found = load_samples(tmp_path / "a.jpg")
    assert found.image_dn.shape == (16, 24)
    assert [each.split(": ")[1].split()[0] for each in found.cautions] == ["it", "JPEG"]


def test_arrays_are_taken_by_the_same_rules() -> None:
    """uint8 is 8 bit, uint16 the smallest usual depth; floats, empty and odd shapes are refused."""
    assert samples_of(noise(255).astype(np.uint8)).bit_depth == 8
    assert samples_of(noise(4095)).full_scale_dn == 4095
    assert samples_of(noise(4095), bit_depth=16).full_scale_dn == 65_535
    for odd in (np.ones((4, 5)), noise(9)[:0], noise(9)[:, :, None], noise(9)[0]):
        with pytest.raises(InputError, match="expected uint8 or uint16 samples of shape"):
            samples_of(odd)
    with pytest.raises(InputError, match=r"said to have 12 bit, but holds samples of 8;"):
        samples_of(noise(255).astype(np.uint8), bit_depth=12)
    with pytest.raises(InputError, match=r"an array that holds the sample 4095 DN, but 8 bit"):
        samples_of(noise(4095), bit_depth=8)


@pytest.mark.parametrize("channels", [1, 3])
def test_a_scan_tells_its_own_depth(tmp_path: Path, channels: int) -> None:
    """A dark 12-bit scan states its scale in the file, and is not taken for one of 10 bit."""
    shape = (4, 5) if channels == 1 else (4, 5, 3)
    image = np.full(shape, 40, dtype=np.uint16)
    write_tiff(tmp_path / "scan.tif", image, full_scale_dn=4095)
    write_tiff(tmp_path / "plain.tif", image)
    told, guessed = (load_samples(tmp_path / name) for name in ("scan.tif", "plain.tif"))
    assert (told.bit_depth, told.depth_from) == (12, "as the file says")
    assert guessed.bit_depth == 10


@pytest.mark.parametrize("stated", [30, 1000])
def test_a_statement_that_cannot_be_is_passed_over(tmp_path: Path, stated: int) -> None:
    """A largest sample under a sample in the file, or that is no end of a scale, says nothing."""
    image = np.full((4, 5), 40, dtype=np.uint16)
    write_tiff(tmp_path / "odd.tif", image, full_scale_dn=stated)
    assert load_samples(tmp_path / "odd.tif").bit_depth == 10
