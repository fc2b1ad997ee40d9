-- Carry lost to strike and misses by cause, per player, club and week. Only play and drill shots count.
WITH counted AS (
    SELECT
        verdicts.*,
        coalesce(shots.session_id, concat(CAST(verdicts.local_date AS VARCHAR), ' ', coalesce(shots.bay, ''))) AS session,
        verdicts.miss IS NOT NULL AND verdicts.miss <> 'none' AS missed,
        verdicts.carry_lost_to_strike_m IS NOT NULL AS judged,
        -- A pattern may rest only on strikes that were measured, linked, or inferred from a fully measured delivery: otherwise
        -- a constant bias of the strike and one of the face look alike.
        verdicts.carry_lost_to_strike_m IS NOT NULL
            AND (verdicts.strike_source <> 'inferred' OR verdicts.strike_toe_sd_mm <= $pattern_sd_mm) AS toe_known,
        verdicts.carry_lost_to_strike_m IS NOT NULL
            AND (verdicts.strike_source <> 'inferred' OR verdicts.strike_up_sd_mm <= $pattern_sd_mm) AS up_known
    FROM shot_verdicts AS verdicts
    JOIN shots ON shots.shot_id = verdicts.shot_id AND shots.site_id = verdicts.site_id
    WHERE verdicts.counted
),
summed AS (
    SELECT
        site_id,
        player_id,
        club_id,
        week,
        count(*) AS shots,
        count(*) FILTER (WHERE judged) AS shots_judged,
        count(*) FILTER (WHERE judged AND strike_source = 'measured') AS strikes_measured,
        count(*) FILTER (WHERE judged AND strike_source = 'linked') AS strikes_linked,
        count(*) FILTER (WHERE judged AND strike_source = 'inferred') AS strikes_inferred,
        count(*) FILTER (WHERE missed) AS misses,
        count(*) FILTER (WHERE cause = 'strike') AS misses_strike,
        count(*) FILTER (WHERE cause = 'delivery') AS misses_delivery,
        count(*) FILTER (WHERE cause = 'either') AS misses_either,
        count(*) FILTER (WHERE cause = 'both needed') AS misses_both_needed,
        count(*) FILTER (WHERE cause = 'neither') AS misses_neither,
        count(*) FILTER (WHERE cause = 'cannot tell') AS misses_unclear,
        count(*) FILTER (WHERE misread) AS misread_curves,
        avg(carry_lost_to_strike_m) AS loss_mean,
        stddev_samp(carry_lost_to_strike_m) AS loss_spread,
        sum(carry_lost_to_strike_m) AS loss_total,
        sum(carry_lost_to_strike_sd_m) AS deviation_total,
        sum(carry_lost_to_strike_sd_m * carry_lost_to_strike_sd_m) AS variance_total,
        sum(CASE WHEN strike_zone = 'centre' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_centre_m,
        sum(CASE WHEN strike_zone = 'toe' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_toe_m,
        sum(CASE WHEN strike_zone = 'heel' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_heel_m,
        sum(CASE WHEN strike_zone = 'high' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_high_m,
        sum(CASE WHEN strike_zone = 'low' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_low_m,
        count(*) FILTER (WHERE toe_known) AS toes_known,
        count(*) FILTER (WHERE up_known) AS ups_known,
        avg(CASE WHEN toe_known THEN strike_toe_mm END) AS toe_mean,
        avg(CASE WHEN up_known THEN strike_up_mm END) AS up_mean,
        var_samp(CASE WHEN toe_known THEN strike_toe_mm END) AS toe_variance,
        var_samp(CASE WHEN up_known THEN strike_up_mm END) AS up_variance,
        -- A measured strike scatters by its own error as well; an inferred one is drawn toward the middle instead.
        avg(CASE WHEN toe_known THEN strike_toe_sd_mm * strike_toe_sd_mm * CASE strike_source WHEN 'inferred' THEN -1.0 ELSE 1.0 END END)
            AS toe_error_variance,
        avg(CASE WHEN up_known THEN strike_up_sd_mm * strike_up_sd_mm * CASE strike_source WHEN 'inferred' THEN -1.0 ELSE 1.0 END END)
            AS up_error_variance,
        avg(CASE WHEN toe_known AND up_known THEN CASE strike_zone WHEN 'centre' THEN 1.0 ELSE 0.0 END END) AS centre_of_known,
        avg(tighter_strike_gain_m) AS tighter_strike_gain_mean_m,
        avg(faster_club_gain_m) AS faster_club_gain_mean_m,
        avg(CASE WHEN judged THEN reference_carry_m END) AS reference_carry_mean_m,
        count(DISTINCT session) AS sessions,
        max(model_as_of) AS model_as_of,
        max(method_version) AS method_version
    FROM counted
    GROUP BY site_id, player_id, club_id, week
),
weighed AS (
    SELECT
        *,
        shots_judged >= $enough_shots AS enough,
        misses_strike + 0.5 * (misses_either + misses_both_needed) AS strike_weight,
        misses_delivery + 0.5 * (misses_either + misses_both_needed) AS delivery_weight,
        loss_mean / reference_carry_mean_m AS loss_share,
        -- The mean as an estimate of what the player is to expect: shots vary, and all share what is uncertain of the head.
        CASE WHEN shots_judged >= 5 THEN
            student_t_quantile(0.95, CAST(shots_judged - 1 AS DOUBLE)) * sqrt(
                loss_spread * loss_spread / shots_judged
                + $shared_variance * deviation_total * deviation_total / (shots_judged * shots_judged)
            )
        END AS mean_margin,
        -- The total of the shots as they were hit: only what is uncertain of each counts.
        CASE WHEN shots_judged >= 1 THEN
            1.6448536269514722 * sqrt(
                $shared_variance * deviation_total * deviation_total + (1.0 - $shared_variance) * variance_total
            )
        END AS total_margin
    FROM summed
),
bounded AS (
    SELECT
        *,
        -- Wilson 1927, J. Am. Statist. Assoc. 22, 209; z = 1.2816 leaves 10 % below.
        (strike_weight + 0.8212 - 1.2816 * sqrt(strike_weight * (1.0 - strike_weight / greatest(shots, 1)) + 0.4106))
            / (shots + 1.6424) AS strike_share_at_least,
        (delivery_weight + 0.8212 - 1.2816 * sqrt(delivery_weight * (1.0 - delivery_weight / greatest(shots, 1)) + 0.4106))
            / (shots + 1.6424) AS delivery_share_at_least
    FROM weighed
),
weighted AS (
    SELECT
        *,
        -- The price must be clear of nothing, and a strike that never causes a miss must cost more to come first.
        loss_share >= $dear_share AND loss_mean > mean_margin
            AND (strike_weight >= 0.5 * delivery_weight OR loss_share >= 1.5 * $dear_share) AS strike_is_dear,
        strike_share_at_least >= $frequent_share AND strike_weight >= delivery_weight AS strike_is_frequent,
        delivery_share_at_least >= $frequent_share AND delivery_weight > strike_weight AS delivery_is_frequent
    FROM bounded
),
advised AS (
    SELECT
        *,
        CASE
            WHEN NOT enough THEN 'not enough shots'
            WHEN strike_is_dear OR strike_is_frequent THEN 'strike first'
            WHEN delivery_is_frequent THEN 'delivery first'
            ELSE 'keep going'
        END AS practise_next
    FROM weighted
)
SELECT
    site_id,
    player_id,
    club_id,
    week,
    shots,
    shots_judged,
    strikes_measured,
    strikes_linked,
    strikes_inferred,
    misses,
    misses_strike,
    misses_delivery,
    misses_either,
    misses_both_needed,
    misses_neither,
    misses_unclear,
    misread_curves,
    loss_mean AS carry_lost_mean_m,
    loss_mean - mean_margin AS carry_lost_mean_low_m,
    loss_mean + mean_margin AS carry_lost_mean_high_m,
    loss_total AS carry_lost_total_m,
    loss_total - total_margin AS carry_lost_total_low_m,
    loss_total + total_margin AS carry_lost_total_high_m,
    CASE WHEN shots_judged > 0 THEN lost_centre_m END AS lost_centre_m,
    CASE WHEN shots_judged > 0 THEN lost_toe_m END AS lost_toe_m,
    CASE WHEN shots_judged > 0 THEN lost_heel_m END AS lost_heel_m,
    CASE WHEN shots_judged > 0 THEN lost_high_m END AS lost_high_m,
    CASE WHEN shots_judged > 0 THEN lost_low_m END AS lost_low_m,
    CASE WHEN toes_known >= $pattern_shots THEN toe_mean END AS strike_mean_toe_mm,
    CASE WHEN ups_known >= $pattern_shots THEN up_mean END AS strike_mean_up_mm,
    CASE WHEN toes_known >= $pattern_shots THEN sqrt(greatest(toe_variance - toe_error_variance, 0.0)) END AS strike_spread_toe_mm,
    CASE WHEN ups_known >= $pattern_shots THEN sqrt(greatest(up_variance - up_error_variance, 0.0)) END AS strike_spread_up_mm,
    CASE WHEN toes_known >= $pattern_shots AND ups_known >= $pattern_shots THEN centre_of_known END AS centre_share,
    tighter_strike_gain_mean_m,
    faster_club_gain_mean_m,
    reference_carry_mean_m,
    sessions,
    practise_next,
    CASE
        WHEN practise_next = 'not enough shots' AND shots >= $enough_shots THEN concat(
            'the strike could be told for only ', shots_judged, ' of ', shots,
            ' shots: with this club it must be measured or marked on the face'
        )
        WHEN practise_next = 'not enough shots' THEN concat(
            'only ', shots, ' full shots with this club this week; advice needs ', $enough_shots, ' that can be judged'
        )
        WHEN strike_is_dear THEN concat(
            'off-centre strikes cost ', round(100.0 * loss_share, 1), ' % of the carry, whatever the misses; ', misses_strike, ' of ',
            misses, ' misses would be mended by the strike alone, ', misses_delivery, ' by the delivery alone'
        )
        WHEN strike_is_frequent THEN concat(
            misses_strike, ' of ', misses, ' misses would be mended by the strike alone, ', misses_delivery,
            ' by the delivery alone; off-centre strikes cost ', round(100.0 * loss_share, 1), ' % of the carry'
        )
        WHEN delivery_is_frequent THEN concat(
            misses_delivery, ' of ', misses, ' misses would be mended by the intended delivery alone, ', misses_strike,
            ' by the strike alone; off-centre strikes cost ', round(100.0 * loss_share, 1), ' % of the carry'
        )
        ELSE concat(
            misses, ' misses in ', shots, ' shots, ', misses_strike, ' mended by the strike alone and ', misses_delivery,
            ' by the delivery alone, and off-centre strikes cost ', round(100.0 * loss_share, 1), ' % of the carry: nothing stands out'
        )
    END AS practise_why,
    model_as_of,
    method_version,
    CAST(0 AS BIGINT) AS revision
FROM advised
