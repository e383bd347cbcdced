// What the server sends (app/pages/cards.py, app/pages/routes.py) and what the page says (show_viewer), for the checker.

type Point = [number, number]; // px of the upright picture

interface Said {
  uid: string;
  inspector: string;
  known_by: string; // how sure it is that it was they
  verdict: string;
  defects: string[];
  note: string;
  given_at: string;
  lapsed: boolean;
}

interface FindingLine {
  words: string;
  tag: string;
  points: Point[];
  outcome: string;
  finding: number | null; // its place in the judgement, where it may be told a mark or none
}

/** A limit that is not passed, and what shows it. */
interface ReasonLine {
  outcome: string;
  words: string;
  short: string; // said at its place
  findings: number[]; // which of the card's, the one that weighs most first
  box: [number, number, number, number] | null; // left, top, right, bottom; px of the upright picture
  light: number; // the one that shows it best
  deviations: boolean; // whether the view of deviations does
  drawing: boolean; // whether the drawing's line does: where the edge should be that was not seen
  blind: boolean; // whether what could not be seen does
}

/** A finding of which it is asked whether it is a mark; shown as a reason is, and none. */
interface QuestionLine extends ReasonLine {
  finding: number; // its place in the judgement
  points: Point[];
}

interface Neighbour {
  piece: number;
  verdict: string;
  at: Point | null; // px of the frame
  here: boolean;
}

/** What everybody may see of a piece. */
interface PieceSeen {
  piece_id: number;
  judgement_id: number;
  size: Point;
  px_per_mm: number | null;
  lights: { name: string; url: string }[];
  outline: string;
  questions: QuestionLine[];
  labels: Record<number, string>; // what the person says of findings, by their place in the judgement
}

/** A piece of a blind round: nothing of what the camera said, nor what people call it. */
interface BlindCard extends PieceSeen {
  blind: true;
  blind_id: number;
  turn: number;
  number: number; // running, of this person's showings
}

/** A piece of which findings are looked at without what the camera said of them, and nothing is judged. */
interface LookCard extends PieceSeen {
  blind: true;
  number: number;
  look: { again?: boolean; blind_id?: number }; // why: a label says so
}

interface OpenCard extends PieceSeen {
  blind: false;
  tray: string;
  piece: number;
  part_name: string;
  lot: string;
  process: Record<string, string>;
  verdict: string;
  newest: boolean;
  limits_revision: number;
  limits_told: string[]; // how the limits stood, where not as they should
  faults: string[];
  reasons: ReasonLine[];
  findings: FindingLine[];
  blind_areas: { words: string; ring: Point[] }[];
  deviations: { times: number; outward: string; inward: string } | null;
  tray_picture: string | null;
  neighbours: Neighbour[];
  mine: Said | null;
  others: Said[];
  differ: boolean;
  seen: string | null; // the newest verdict that the person sees, which a new one names
}

type Card = BlindCard | LookCard | OpenCard;

/** A verdict on its way to the store. */
interface NewVerdict {
  uid: string;
  piece_id: number;
  judgement_id: number;
  verdict: string;
  defects: string[];
  note: string;
  given_at: string;
  takes_back?: string;
  seen?: string | null;
  blind_id?: number;
  turn?: number;
}

/** What is said of one finding, on its way to the store. */
interface NewLabel {
  uid: string;
  judgement_id: number;
  finding: number;
  label: string;
  given_at: string;
  again?: boolean;
  blind_id?: number;
}

/** A verdict that can be taken back; one given before the page was opened has no card here. */
interface Given {
  uid: string;
  piece_id: number;
  judgement_id: number;
  verdict: string;
  card?: Card;
}

interface Progress {
  left?: number;
  in_hand?: Record<string, number>; // of those, by who has them on loan
  pace?: number;
  whole?: number;
}

interface Cards extends Progress {
  cards: Card[];
  held_by?: string | null;
}

interface Renewed extends Progress {
  gone_to: Record<number, string>;
}

interface Received extends Progress {
  receipts: { uid: string; outcome: string; detail: string }[];
  labels?: number; // given by this person, in all
}

interface PageData {
  mode: "queue" | "one" | "blind" | "looks";
  pass: string;
  inspector: string;
  known_by: string; // how sure it is that they are who sits there
  may_review: boolean;
  wanted: Record<string, string | null>;
  ahead?: boolean; // told before the choice was drawn: of a page that lives on it may not be what was chosen
  empty: Record<string, string>;
  signs: Record<string, string>;
  one?: { tray: string; piece: number };
  blind?: number;
}
