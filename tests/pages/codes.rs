//! QR codes (ISO/IEC 18004) on red tags and labels, read by a reader that shares nothing with what draws
//! them: the `rqrr` crate.

use rqrr::PreparedImage;

use super::district::district;

/// Pixels a unit of the drawing.
const FINE: usize = 2;

/// A drawing of black rectangles on white, as a picture of grey: what a camera would see of the paper.
struct Picture {
    side: usize,
    grey: Vec<u8>,
}

impl Picture {
    /// From the SVG of a code: one path of rectangles, `M left top h width v height H left V top`.
    fn of(svg: &str) -> Self {
        let between = |text: &str, from: &str, to: &str| -> String {
            let start = text.find(from).unwrap() + from.len();
            text[start..].split(to).next().unwrap().to_owned()
        };
        let view = between(svg, "viewBox=\"", "\"");
        let side: usize = view.split(' ').next_back().unwrap().parse().unwrap();
        let side = side * FINE;
        let mut grey = vec![255; side * side];
        for rectangle in between(svg, " d=\"", "\"").split('M').filter(|r| !r.is_empty()) {
            let numbers: Vec<usize> = rectangle
                .split(|c: char| !c.is_ascii_digit())
                .filter(|n| !n.is_empty())
                .map(|n| n.parse::<usize>().unwrap() * FINE)
                .collect();
            let [left, top, width, height, ..] = numbers[..] else { panic!("{rectangle}") };
            for y in top..top + height {
                grey[y * side + left..y * side + left + width].fill(0);
            }
        }
        Self { side, grey }
    }

    fn read(&self) -> Vec<String> {
        let mut image =
            PreparedImage::prepare_from_greyscale(self.side, self.side, |x, y| self.grey[y * self.side + x]);
        image.detect_grids().iter().map(|grid| grid.decode().unwrap().1).collect()
    }
}

/// What each code of a page says.
fn codes(html: &str) -> Vec<String> {
    html.split("<svg class=\"qr\"").skip(1).flat_map(|svg| Picture::of(svg).read()).collect()
}

#[tokio::test]
async fn a_reader_of_its_own_reads_from_tag_and_labels_where_each_thing_stands() {
    let d = district().await;
    d.say("taken_out", "117", "ana", "Hissing").await;
    let mut t = d.signed_in("tom").await;
    assert_eq!(codes(&t.get("/units/117/tag").await.ok().html), ["http://airmuster.example/units/117"]);
    let units = codes(&t.get("/labels?kind=unit").await.ok().html);
    assert_eq!(units, ["117", "121", "130", "142"].map(|n| format!("http://airmuster.example/units/{n}")));
    for kind in ["cylinder", "facepiece"] {
        let read = codes(&t.get(&format!("/labels?kind={kind}")).await.ok().html);
        assert_eq!(read.len(), 4, "{read:?}");
        for address in read {
            let path = address.strip_prefix("http://airmuster.example").unwrap();
            let page = t.get(path).await.ok();
            let number = path.rsplit(':').next().unwrap();
            assert!(
                page.text().to_lowercase().contains(&format!("{kind} {number}").to_lowercase()),
                "{address}"
            );
        }
    }
}
