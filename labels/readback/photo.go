package readback

import "image"

// A phone's photograph has far more pixels than its codes need, and noise that
// misleads the decoder at full size. A quarter of its width suits most distances;
// the others follow for labels held near, far or at arm's length.
var photoReductions = []int{4, 2, 8, 3, 1}

// farPx is how wide a picture is still searched whole at its own size: wider ones
// take seconds, and show a code that small only from across the room.
const farPx = 2600

// Photo finds the codes in a photograph of labels, from the top down, each text
// once. It stops at the first size at which there is one, which for a picture of
// 12 megapixels takes some 20 to 100 ms; of a sheet of several it looks at all
// sizes in parts, since a decoder loses some of many. How the camera was held does
// not matter.
func Photo(picture image.Image) []Found {
	gray := toGray(picture)
	for _, k := range photoReductions {
		small := reduce(gray, k)
		b := small.Rect
		if k > 1 && (b.Dx() < 60 || b.Dy() < 60) || k == 1 && b.Dx() > farPx {
			continue
		}
		found := enlarged(inWindow(small, b), k)
		if len(found) == 0 {
			continue
		}
		found = once(append(found, enlarged(inWindows(small), k)...))
		if len(found) > 1 {
			found = once(append(found, enlarged(inWindows(reduce(gray, 2)), 2)...))
			found = once(append(found, enlarged(inWindows(reduce(gray, 3)), 3)...))
		}
		return sorted(found)
	}
	return nil
}

// enlarged gives places in the whole picture.
func enlarged(found []Found, k int) []Found {
	for i := range found {
		found[i].At, found[i].SidePX = found[i].At.Mul(k), found[i].SidePX*float64(k)
	}
	return found
}

func once(list []Found) (out []Found) {
	seen := map[string]bool{}
	for _, f := range list {
		if !seen[f.Text] {
			seen[f.Text], out = true, append(out, f)
		}
	}
	return out
}
