//! Photographs: named by a record first, taken in by their hash, made anew, shown where they belong.

use std::io::Cursor;

use airmuster_domain::judge::Raw;
use airmuster_domain::record::{Asset, Digest, Photo};
use airmuster_domain::rules::Purpose;
use airmuster_domain::standing::State;
use axum::body::{Body, to_bytes};
use axum::http::{Method, Request, header};
use image::{DynamicImage, ImageFormat, RgbImage};
use serde_json::Value;

use super::browser::Browser;
use super::district::{DAY, District, district};

/// A picture that is red on the left and blue on the right.
fn picture(width: u32, height: u32) -> DynamicImage {
    let mut image = RgbImage::new(width, height);
    for (x, _, pixel) in image.enumerate_pixels_mut() {
        pixel.0 = if x < width / 2 { [220, 20, 20] } else { [20, 20, 220] };
    }
    DynamicImage::ImageRgb8(image)
}

fn encoded(image: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    image.write_to(&mut out, format).unwrap();
    out.into_inner()
}

/// A JPEG with what a camera writes beside the picture (Exif 2.3: TIFF header, then tag 0x0112, the
/// orientation, and tag 0x8825, where the position begins), and words of a position.
fn from_camera(orientation: u8) -> Vec<u8> {
    let mut tiff = b"II*\0\x08\0\0\0\x02\0".to_vec();
    tiff.extend([0x12, 0x01, 3, 0, 1, 0, 0, 0, orientation, 0, 0, 0]);
    tiff.extend([0x25, 0x88, 4, 0, 1, 0, 0, 0, 0x26, 0, 0, 0]);
    tiff.extend([0, 0, 0, 0]);
    tiff.extend(b"GPS 47.3769 N 8.5417 E, owner A. Somebody");
    let mut segment = b"Exif\0\0".to_vec();
    segment.extend(tiff);
    let plain = encoded(&picture(64, 32), ImageFormat::Jpeg);
    let length = u16::try_from(segment.len() + 2).unwrap().to_be_bytes();
    [&plain[..2], &[0xff, 0xe1], &length, &segment, &plain[2..]].concat()
}

async fn put(browser: &Browser, digest: &str, bytes: Vec<u8>) -> (u16, Value) {
    let request = Request::builder()
        .method(Method::PUT)
        .uri(format!("/api/v1/photos/{digest}"))
        .header(header::COOKIE, browser.cookies())
        .header(header::CONTENT_TYPE, "application/octet-stream");
    let response = browser.send(request.body(Body::from(bytes)).unwrap()).await;
    let status = response.status().as_u16();
    let body = to_bytes(response.into_body(), usize::MAX).await.unwrap();
    (status, serde_json::from_slice(&body).unwrap_or_default())
}

async fn get(browser: &Browser, digest: &str) -> (u16, String, Vec<u8>) {
    let request =
        Request::builder().uri(format!("/photos/{digest}")).header(header::COOKIE, browser.cookies());
    let response = browser.send(request.body(Body::empty()).unwrap()).await;
    let kind = response.headers().get(header::CONTENT_TYPE).map_or("", |v| v.to_str().unwrap()).to_owned();
    assert_eq!(response.headers().get("x-content-type-options").unwrap(), "nosniff");
    let status = response.status().as_u16();
    (status, kind, to_bytes(response.into_body(), usize::MAX).await.unwrap().to_vec())
}

/// A record names these bytes; their hash.
async fn named(d: &District, bytes: &[u8]) -> String {
    let digest = Digest::of(bytes);
    d.photographed(&Photo {
        asset: Asset::unit("117"),
        photo: digest,
        run: None,
        step: None,
        what: "A crack in the backframe".to_owned(),
    })
    .await;
    digest.to_string()
}

fn holds(bytes: &[u8], words: &[u8]) -> bool {
    bytes.windows(words.len()).any(|w| w == words)
}

#[tokio::test]
async fn a_photo_is_taken_in_once_a_record_names_it_and_what_the_camera_wrote_beside_it_is_gone() {
    let d = district().await;
    let ben = d.signed_in("ben").await;
    let bytes = from_camera(6);
    assert!(holds(&bytes, b"GPS 47.3769") && holds(&bytes, b"Exif"));
    let digest = Digest::of(&bytes).to_string();
    let (status, said) = put(&ben, &digest, bytes.clone()).await;
    assert_eq!(status, 409, "{said}");
    assert!(said["say"].as_str().unwrap().contains("hand the record in first"), "{said}");
    assert_eq!(get(&ben, &digest).await.0, 404);

    assert_eq!(named(&d, &bytes).await, digest);
    let waiting = d.signed_in("ben").await.get("/units/117").await.ok().text();
    assert!(waiting.contains("A crack in the backframe") && waiting.contains("Not here yet"), "{waiting}");
    for _ in 0..2 {
        let (status, said) = put(&ben, &digest, bytes.clone()).await;
        assert_eq!((status, said["digest"].as_str()), (200, Some(digest.as_str())), "{said}");
    }
    let (status, kind, kept) = get(&ben, &digest).await;
    assert_eq!((status, kind.as_str()), (200, "image/jpeg"));
    for words in [&b"Exif"[..], b"GPS", b"Somebody", b"47.3769"] {
        assert!(!holds(&kept, words), "{}", String::from_utf8_lossy(words));
    }
    // Orientation 6: to be turned a quarter clockwise. What was on the left is on top.
    let seen = image::load_from_memory(&kept).unwrap().into_rgb8();
    assert_eq!(seen.dimensions(), (32, 64));
    assert!(seen.get_pixel(16, 4).0[0] > 150 && seen.get_pixel(16, 60).0[2] > 150);
    let shown = d.signed_in("ben").await.get("/units/117").await.ok();
    assert!(shown.html.contains(&format!("src=\"/photos/{digest}\"")), "{}", shown.text());
    assert!(!shown.text().contains("Not here yet"));
}

#[tokio::test]
async fn jpeg_png_and_webp_are_taken_and_scaled_down_and_nothing_else_is_taken() {
    let d = district().await;
    let ben = d.signed_in("ben").await;
    for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
        let bytes = encoded(&picture(2000, 500), format);
        let digest = named(&d, &bytes).await;
        let (status, said) = put(&ben, &digest, bytes).await;
        assert_eq!(status, 200, "{format:?}: {said}");
        let (_, _, kept) = get(&ben, &digest).await;
        assert_eq!(image::guess_format(&kept).unwrap(), ImageFormat::Jpeg);
        assert_eq!(image::load_from_memory(&kept).unwrap().into_rgb8().dimensions(), (1600, 400));
    }
    let small = encoded(&picture(40, 30), ImageFormat::Png);
    let other_kinds: [(&str, Vec<u8>); 8] = [
        ("nothing", Vec::new()),
        ("text", b"a photo".to_vec()),
        ("SVG", b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>".to_vec()),
        ("HTML", b"<!doctype html><script>alert(1)</script>".to_vec()),
        ("GIF", b"GIF89a\x01\0\x01\0\x80\0\0\xff\xff\xff\0\0\0!\xf9\x04\0\0\0\0\0,\0\0\0\0\x01\0\x01\0\0\x02\x02D\x01\0;".to_vec()),
        ("BMP", [b"BM".to_vec(), vec![0; 100]].concat()),
        ("PDF", b"%PDF-1.7\n".to_vec()),
        ("ZIP", b"PK\x03\x04".to_vec()),
    ];
    for (what, bytes) in other_kinds {
        let digest = named(&d, &bytes).await;
        let (status, said) = put(&ben, &digest, bytes).await;
        assert_eq!(status, 415, "{what}: {said}");
        assert!(said["say"].as_str().unwrap().contains("JPEG, PNG and WebP"), "{what}: {said}");
        assert_eq!(get(&ben, &digest).await.0, 404, "{what}");
    }
    // Pretending, broken, cut short, or other bytes than named.
    let jpeg = encoded(&picture(64, 64), ImageFormat::Jpeg);
    let webp = encoded(&picture(64, 64), ImageFormat::WebP);
    let mut flipped = small.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 0xff;
    for (what, bytes) in [
        ("a PNG's head on text", [&small[..8], b"<script>alert(1)</script>"].concat()),
        ("a JPEG's head on text", b"\xff\xd8\xff\xe0<script>alert(1)</script>".to_vec()),
        ("a WebP's head on text", b"RIFF\x10\0\0\0WEBPVP8 <script>".to_vec()),
        ("half a PNG", small[..small.len() / 2].to_vec()),
        ("half a WebP", webp[..webp.len() / 2].to_vec()),
        ("a JPEG's beginning", jpeg[..30].to_vec()),
        ("a PNG with a flipped byte", flipped),
    ] {
        let digest = named(&d, &bytes).await;
        let (status, said) = put(&ben, &digest, bytes).await;
        assert_eq!(status, 422, "{what}: {said}");
        assert_eq!(get(&ben, &digest).await.0, 404, "{what}");
    }
    let digest = named(&d, b"what was named").await;
    let (status, said) = put(&ben, &digest, small.clone()).await;
    assert_eq!(status, 422, "{said}");
    for address in ["x", "0", "../../etc/passwd", &"g".repeat(64), &digest.to_uppercase()] {
        let address = address.replace('/', "%2F");
        assert_eq!(put(&ben, &address, small.clone()).await.0, 404, "{address}");
    }
}

/// A PNG's chunk (PNG specification, 5.3), its sum by CRC-32.
fn chunk(kind: &str, data: &[u8]) -> Vec<u8> {
    let mut sum = u32::MAX;
    for byte in kind.as_bytes().iter().chain(data) {
        sum ^= u32::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { (sum >> 1) ^ 0xedb8_8320 } else { sum >> 1 };
        }
    }
    let length = u32::try_from(data.len()).unwrap().to_be_bytes();
    [&length[..], kind.as_bytes(), data, &(!sum).to_be_bytes()].concat()
}

#[tokio::test]
async fn a_small_file_that_claims_to_be_huge_is_refused_before_it_is_unpacked() {
    let d = district().await;
    let ben = d.signed_in("ben").await;
    for (width, height) in [(60_000u32, 60_000u32), (20_000, 10), (10_000, 10_000), (u32::MAX >> 1, 1)] {
        let head = [&width.to_be_bytes()[..], &height.to_be_bytes(), &[8, 2, 0, 0, 0]].concat();
        let bomb = [
            b"\x89PNG\r\n\x1a\n".to_vec(),
            chunk("IHDR", &head),
            chunk("IDAT", &[0x78, 0x9c, 3, 0, 0, 0, 0, 1]),
            chunk("IEND", b""),
        ]
        .concat();
        let digest = named(&d, &bomb).await;
        let (status, said) = put(&ben, &digest, bomb).await;
        assert_eq!(status, 422, "{width} × {height}: {said}");
    }
    // Twenty-five million pixels of nothing in a small file are only a dull picture.
    let dull = encoded(&DynamicImage::new_luma8(5000, 5000), ImageFormat::Png);
    assert!(dull.len() < 1_000_000, "{}", dull.len());
    let digest = named(&d, &dull).await;
    assert_eq!(put(&ben, &digest, dull).await.0, 200);
    let large = [encoded(&picture(8, 8), ImageFormat::Jpeg), vec![0; 8 * 1024 * 1024]].concat();
    let digest = named(&d, &large).await;
    assert_eq!(put(&ben, &digest, large).await.0, 413);
}

#[tokio::test]
async fn a_picture_that_is_also_something_else_is_only_a_picture_once_it_is_kept() {
    let d = district().await;
    let ben = d.signed_in("ben").await;
    for format in [ImageFormat::Jpeg, ImageFormat::Png] {
        let both =
            [encoded(&picture(32, 32), format), b"PK\x03\x04<script>alert(1)</script>".to_vec()].concat();
        let digest = named(&d, &both).await;
        assert_eq!(put(&ben, &digest, both).await.0, 200);
        let (_, _, kept) = get(&ben, &digest).await;
        assert!(!holds(&kept, b"<script") && !holds(&kept, b"PK\x03\x04"), "{format:?}");
    }
}

#[tokio::test]
async fn a_photo_of_a_failed_step_is_on_the_record_of_its_check_and_raises_nothing_by_itself() {
    let d = district().await;
    d.pass(DAY);
    let apart = [("cylinder", Raw::Text("4480 psi".into())), ("remote", Raw::Text("3990 psi".into()))];
    let check = d.answered("130", Purpose::ShiftStart, &[("gauge-agreement", &apart)]).await;
    let seq = d.submit_check(&check, "ana").await;
    let bytes = encoded(&picture(80, 60), ImageFormat::Jpeg);
    let before = d.open("130").await;
    let own = d
        .photographed(&Photo {
            asset: Asset::unit("130"),
            photo: Digest::of(&bytes),
            run: Some(check.run),
            step: Some("gauge-agreement".to_owned()),
            what: "Gauge agreement".to_owned(),
        })
        .await;
    assert_eq!(d.open("130").await, before);
    assert_eq!(d.state("130").await, State::OutOfService);
    let digest = Digest::of(&bytes).to_string();
    assert_eq!(put(&d.signed_in("ben").await, &digest, bytes).await.0, 200);
    let mut technician = d.signed_in("tom").await;
    for page in [
        format!("/records/{seq}"),
        format!("/records/{own}"),
        "/units/130".to_owned(),
        "/tickets/1".to_owned(),
    ] {
        let html = technician.get(&page).await.ok().html;
        assert!(html.contains(&format!("/photos/{digest}")), "{page}");
    }
    assert!(!technician.get("/units/117").await.ok().html.contains("/photos/"));
}

async fn send_form(browser: &Browser, parts: &[(&str, &[u8])]) -> (u16, String) {
    let mut body = Vec::new();
    for (name, content) in parts {
        let file = if *name == "photo" { "; filename=\"../../a<b>.jpg\"" } else { "" };
        body.extend(
            format!("--xx\r\nContent-Disposition: form-data; name=\"{name}\"{file}\r\n\r\n").into_bytes(),
        );
        body.extend(*content);
        body.extend(b"\r\n");
    }
    body.extend(b"--xx--\r\n");
    let request = Request::builder()
        .method(Method::POST)
        .uri("/tickets/1/photos")
        .header(header::COOKIE, browser.cookies())
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=xx");
    let response = browser.send(request.body(Body::from(body)).unwrap()).await;
    let status = response.status().as_u16();
    let body = to_bytes(response.into_body(), usize::MAX).await.unwrap();
    (status, String::from_utf8_lossy(&body).into_owned())
}

#[tokio::test]
async fn a_ticket_takes_a_photo_without_script_and_says_what_is_wrong_with_another_file() {
    let d = district().await;
    d.pass(DAY);
    d.gauges_apart("130").await;
    let technician = d.signed_in("tom").await;
    let before = d.records().await;
    let (status, html) = send_form(&technician, &[("what", b"x"), ("photo", b"")]).await;
    assert_eq!(status, 422);
    assert!(html.contains("Choose the photo first."));
    let (status, html) = send_form(&technician, &[("what", b"x"), ("photo", b"GIF89a......")]).await;
    assert_eq!(status, 422);
    assert!(html.contains("Only JPEG, PNG and WebP pictures are taken."), "{html}");
    assert_eq!(d.records().await, before, "nothing is written down of what was not taken");
    let bytes = from_camera(1);
    let (status, _) = send_form(&technician, &[("what", b"The <b>gauge</b>"), ("photo", &bytes)]).await;
    assert_eq!(status, 303);
    let page = d.signed_in("tom").await.get("/tickets/1").await.ok();
    assert!(page.html.contains(&format!("/photos/{}", Digest::of(&bytes))), "{}", page.html);
    assert!(page.html.contains("The &#60;b&#62;gauge"), "{}", page.html);
    let (_, _, kept) = get(&technician, &Digest::of(&bytes).to_string()).await;
    assert!(!holds(&kept, b"GPS"));
    assert_eq!(send_form(&d.signed_in("ana").await, &[("photo", &bytes)]).await.0, 403);
}
